package detect

// longestName is how many characters a name may have.
const longestName = 32

// ValidName tells whether a text can name a tank or a probe: 1 to 32 letters,
// digits, dots, dashes and underscores, the first one a letter or a digit.
func ValidName(name string) bool {
	if name == "" || len(name) > longestName {
		return false
	}
	for i := range len(name) {
		c := name[i]
		alphanumeric := c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
		if !alphanumeric && (i == 0 || c != '.' && c != '-' && c != '_') {
			return false
		}
	}
	return true
}

// NameRule says in words what ValidName asks for.
const NameRule = "a name has 1 to 32 letters, digits, dots, dashes or underscores and begins with a letter or a digit"

// Nearest returns the word of known that a mistyped word most likely means, and
// empty where none is near: at most one slip in every three letters.
func Nearest(word string, known []string) string {
	best, nearest := len(word)/3+1, ""
	for _, candidate := range known {
		if d := slips(word, candidate); d <= best && (d < best || nearest == "") {
			best, nearest = d, candidate
		}
	}
	return nearest
}

// slips counts the letters to insert, drop, change or swap with their neighbour
// to get from a to b (optimal string alignment distance).
func slips(a, b string) int {
	before, last := []int(nil), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row := make([]int, len(b)+1)
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := last[j-1]
			if a[i-1] != b[j-1] {
				change++
			}
			row[j] = min(change, last[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(b)]
}
