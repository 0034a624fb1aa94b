package config

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/dustin/go-humanize"
	"go.yaml.in/yaml/v4"

	"spile/detect"
	"spile/detect/beer"
)

// scalar gives the text of a value, and whether it is one.
func (r *reader) scalar(at string, n *yaml.Node) (string, bool) {
	n = resolved(n)
	switch {
	case n.Kind != yaml.ScalarNode:
		r.fault(n, "%s is %s: write one value", at, described(n))
		return "", false
	case isNull(n) || strings.TrimSpace(n.Value) == "":
		r.fault(n, "%s has no value: give one, or delete the line", at)
		return "", false
	}
	return n.Value, true
}

// value reads a scalar by parse; its error is told with the key and the line.
func value[T any](r *reader, into *T, parse func(text string) (T, error)) take {
	return func(at string, n *yaml.Node) {
		text, ok := r.scalar(at, n)
		if !ok {
			return
		}
		v, err := parse(text)
		if err != nil {
			r.fault(n, "%s: %v", at, err)
			return
		}
		*into = v
	}
}

// optional is value for what stays nil where it is not given.
func optional[T any](r *reader, into **T, parse func(text string) (T, error)) take {
	return func(at string, n *yaml.Node) {
		var v T
		before := len(r.faults)
		if value(r, &v, parse)(at, n); len(r.faults) == before {
			*into = &v
		}
	}
}

func plain(text string) (string, error) { return strings.TrimSpace(text), nil }

func verbatim(text string) (string, error) { return text, nil }

func truth(text string) (bool, error) {
	switch strings.ToLower(text) {
	case "true":
		return true, nil
	case "false":
		return false, nil
	}
	return false, fmt.Errorf("%q: write true or false", text)
}

// oneOf reads one of some words.
func oneOf[T ~string](words ...T) func(string) (T, error) {
	return func(text string) (T, error) {
		if slices.Contains(words, T(text)) {
			return T(text), nil
		}
		known := make([]string, len(words))
		for i, word := range words {
			known[i] = string(word)
		}
		if near := detect.Nearest(strings.ToLower(text), known); near != "" {
			return "", fmt.Errorf("%q: did you mean %q?", text, near)
		}
		return "", fmt.Errorf("%q: write one of %s", text, strings.Join(known, ", "))
	}
}

// amount reads a figure with its unit, in the inside unit and between low and high.
func amount(kind beer.Kind, low, high float64) func(string) (float64, error) {
	return func(text string) (float64, error) {
		v, err := beer.Parse(text, kind)
		switch {
		case err != nil:
			return 0, err
		case v >= low && v <= high:
			return v, nil
		}
		number, bare := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if unit := detect.LikelyUnit(number, kind, low, high); bare == nil && unit != "" {
			return 0, fmt.Errorf("%g %s? write %g %s", number, beer.InsideUnit(kind), number, unit)
		}
		return 0, fmt.Errorf("%q: expected %g to %g %s", text, low, high, beer.InsideUnit(kind))
	}
}

// instant reads a moment with its zone: 2026-03-02T08:00:00Z.
func instant(text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, strings.TrimSpace(text))
	if err != nil {
		return time.Time{}, fmt.Errorf("%q: write date, time and zone, as 2026-03-02T08:00:00+01:00", text)
	}
	return t, nil
}

// span reads a length of time with its unit: 20m, 90 s, 60 days.
func span(low, high time.Duration) func(string) (time.Duration, error) {
	return func(text string) (time.Duration, error) {
		if _, err := strconv.ParseFloat(text, 64); err == nil {
			return 0, fmt.Errorf("%q has no unit: write 20m, 1h30m or 60 days", text)
		}
		hours, err := beer.Parse(text, beer.KindDuration)
		if err != nil {
			return 0, err
		}
		d := time.Duration(math.Round(hours * float64(time.Hour)))
		if d < low || d > high {
			return 0, fmt.Errorf("%q: expected %s to %s", text, length(low), length(high))
		}
		return d, nil
	}
}

// length writes a duration as one writes it in the configuration.
func length(d time.Duration) string {
	const day = 24 * time.Hour
	if d >= day && d%day == 0 {
		return fmt.Sprintf("%d days", d/day)
	}
	text := d.String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	if strings.HasSuffix(text, "h0m") {
		text = strings.TrimSuffix(text, "0m")
	}
	return text
}

// bytes reads a size such as 4 GB.
func bytes(text string) (uint64, error) {
	size, err := humanize.ParseBytes(text)
	if _, bare := strconv.ParseFloat(text, 64); err != nil || bare == nil {
		return 0, fmt.Errorf("%q: write a size with its unit, such as 4 GB", text)
	}
	const least = 100_000_000
	if size < least {
		return 0, fmt.Errorf("%q: less than 100 MB holds no cellar", text)
	}
	return size, nil
}

var falseCallsForm = regexp.MustCompile(`^([0-9.]+)(?:\s+per tank-year)?$`)

// falseCalls reads "0.1 per tank-year".
func falseCalls(text string) (float64, error) {
	found := falseCallsForm.FindStringSubmatch(strings.TrimSpace(text))
	if found == nil {
		return 0, fmt.Errorf("%q: write how many false calls you would bear, such as 0.1 per tank-year", text)
	}
	rate, err := strconv.ParseFloat(found[1], 64)
	if err != nil || rate < 0.001 || rate > 52 {
		return 0, fmt.Errorf("%q: expected 0.001 to 52 per tank-year", text)
	}
	return rate, nil
}

// zone reads a name of the time zone database.
func zone(text string) (*time.Location, error) {
	if text == "Local" {
		return nil, fmt.Errorf("%q depends on the machine: write a name such as Europe/Lisbon", text)
	}
	z, err := time.LoadLocation(text)
	if err != nil {
		return nil, fmt.Errorf("%q is no time zone: write a name such as Europe/Lisbon", text)
	}
	return z, nil
}

// unit reads the name of a unit of a kind.
func unit(kind beer.Kind) func(string) (string, error) {
	return func(text string) (string, error) {
		if _, err := beer.FromUnit(1, text, kind); err != nil {
			return "", fmt.Errorf("%q: write %s", text, strings.Join(beer.Units(kind), ", "))
		}
		return text, nil
	}
}

// named reads a name of the brewer's own.
func named(text string) (string, error) {
	if !detect.ValidName(text) {
		return "", fmt.Errorf("%q: %s", text, detect.NameRule)
	}
	return text, nil
}

var clockForm = regexp.MustCompile(`^([01]\d|2[0-4]):([0-5]\d)\s*-\s*([01]\d|2[0-4]):([0-5]\d)$`)

// clockHours reads 18:00-07:00.
func clockHours(text string) (Hours, error) {
	found := clockForm.FindStringSubmatch(strings.TrimSpace(text))
	if found == nil {
		return Hours{}, fmt.Errorf("%q: write from and to, such as 18:00-07:00", text)
	}
	h := Hours{From: sinceMidnight(found[1], found[2]), To: sinceMidnight(found[3], found[4])}
	if h.From == h.To || max(h.From, h.To) > 24*time.Hour {
		return Hours{}, fmt.Errorf("%q is no stretch of a day: write 00:00-24:00 for the whole of it, or leave it out", text)
	}
	return h, nil
}

// timeOfDay reads 07:00.
var timeForm = regexp.MustCompile(`^([01]\d|2[0-3]):([0-5]\d)$`)

func timeOfDay(text string) (time.Duration, error) {
	found := timeForm.FindStringSubmatch(strings.TrimSpace(text))
	if found == nil {
		return 0, fmt.Errorf("%q: write a time of day, such as 07:00", text)
	}
	return sinceMidnight(found[1], found[2]), nil
}

// sinceMidnight takes two digits each, as clockForm found them.
func sinceMidnight(hours, minutes string) time.Duration {
	h, _ := strconv.Atoi(hours)
	m, _ := strconv.Atoi(minutes)
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
}

// path reads a path, counted from the configuration's folder, of a file that
// must be there.
func (r *reader) path(text string) (string, error) {
	path := text
	if !filepath.IsAbs(path) {
		path = filepath.Join(r.folder, path)
	}
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return "", fmt.Errorf("there is no file %s: create it, or mend the path (it counts from the configuration's folder)", path)
	case info.IsDir():
		return "", fmt.Errorf("%s is a folder: name a file in it", path)
	}
	return path, nil
}

// credential reads where the service manager has put a secret of this name, by
// systemd.exec(5): it is in no file that stays, and no other program can read it.
func credential(name string) (string, error) {
	folder := os.Getenv("CREDENTIALS_DIRECTORY")
	switch {
	case !detect.ValidName(name):
		return "", fmt.Errorf("a credential is called %q: %s", name, detect.NameRule)
	case folder == "":
		return "", fmt.Errorf("nothing has handed over the credential %[1]s: let systemd start spile, with LoadCredential=%[1]s:FILE in its unit", name)
	}
	return filepath.Join(folder, name), nil
}

// secretPath finds the file that holds a secret.
func (r *reader) secretPath(text string) (string, error) {
	if name, handed := strings.CutPrefix(text, "credential:"); handed {
		path, err := credential(name)
		if err != nil {
			return "", err
		}
		text = path
	}
	return r.path(text)
}

// secret reads the file that holds a secret.
func (r *reader) secret(text string) (Secret, error) {
	path, err := r.secretPath(text)
	if err != nil {
		return "", err
	}
	body, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("%s cannot be read: %w", path, err)
	}
	secret := strings.TrimSpace(string(body))
	if secret == "" {
		return "", fmt.Errorf("%s is empty: write the secret into it", path)
	}
	return Secret(secret), nil
}
