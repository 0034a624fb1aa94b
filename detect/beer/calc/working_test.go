package calc

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A line of working says "name = sum = value unit". These tests do each sum again from the text alone, so that a figure
// on the page cannot differ from the figure in the code.

var (
	working = regexp.MustCompile(`^.*?= ([^=]+) = (-?[0-9.]+)`)
	powers  = regexp.MustCompile(`(\([^()]*\)|[0-9.]+)\^([0-9.]+)`)
)

// worked returns the sum of a line and the value it claims; ok is false where a line is a sentence.
func worked(line string) (sum string, claimed float64, ok bool) {
	parts := working.FindStringSubmatch(line)
	if parts == nil {
		return "", 0, false
	}
	claimed, err := strconv.ParseFloat(parts[2], 64)
	return parts[1], claimed, err == nil
}

// evaluate works out a sum as a brewer writes it: x for times, ^ for a power, exp().
func evaluate(sum string) (float64, error) {
	text := powers.ReplaceAllString(strings.ReplaceAll(sum, " x ", " * "), "pow($1, $2)")
	expr, err := parser.ParseExpr(text)
	if err != nil {
		return 0, fmt.Errorf("%q: %w", text, err)
	}
	return value(expr)
}

// value evaluates the few kinds of expression that a line of working has.
func value(expr ast.Expr) (float64, error) {
	switch e := expr.(type) {
	case *ast.BasicLit:
		return strconv.ParseFloat(e.Value, 64)
	case *ast.ParenExpr:
		return value(e.X)
	case *ast.UnaryExpr:
		x, err := value(e.X)
		return -x, err
	case *ast.CallExpr:
		return call(e)
	case *ast.BinaryExpr:
		return binary(e)
	}
	return 0, fmt.Errorf("a line of working has a %T", expr)
}

func binary(e *ast.BinaryExpr) (float64, error) {
	x, err := value(e.X)
	if err != nil {
		return 0, err
	}
	y, err := value(e.Y)
	if err != nil {
		return 0, err
	}
	switch e.Op {
	case token.ADD:
		return x + y, nil
	case token.SUB:
		return x - y, nil
	case token.MUL:
		return x * y, nil
	case token.QUO:
		return x / y, nil
	}
	return 0, fmt.Errorf("a line of working has %s", e.Op)
}

func call(e *ast.CallExpr) (float64, error) {
	var args []float64
	for _, arg := range e.Args {
		v, err := value(arg)
		if err != nil {
			return 0, err
		}
		args = append(args, v)
	}
	switch name, ok := e.Fun.(*ast.Ident); {
	case ok && name.Name == "exp" && len(args) == 1:
		return math.Exp(args[0]), nil
	case ok && name.Name == "pow" && len(args) == 2:
		return math.Pow(args[0], args[1]), nil
	}
	return 0, fmt.Errorf("a line of working calls %v", e.Fun)
}

func TestEvaluateReadsABrewersHand(t *testing.T) {
	for sum, want := range map[string]float64{
		"2 + 3 x 4": 14, "(2 + 3) x 4 / 5": 4, "2^3 x -1": -8, "(1 + 1)^3": 8, "exp(0) - 1": 0, "1.5 x 1.5^2": 3.375,
	} {
		got, err := evaluate(sum)
		require.NoError(t, err, sum)
		assert.InDelta(t, want, got, 1e-12, sum)
	}
	for _, bad := range []string{"2 %% 3", "sin(1)", "a + 1", "1 + sin(1)", "sin(1) + 1", "exp(a)", "1 % 2"} {
		_, err := evaluate(bad)
		assert.Error(t, err, bad)
	}
}

// cancelling is what a line may lose because it shows six digits of each figure and takes large ones from each other: the
// cubic of gravity, and a gauge pressure that is what is left of an absolute one.
func cancelling(step string) float64 {
	for _, begin := range []string{"P =", "OE =", "AE =", "gauge =", "at the most =", "gas only ="} {
		if strings.HasPrefix(step, begin) {
			return 0.005
		}
	}
	return 0
}

func TestEveryLineOfWorkingIsRight(t *testing.T) {
	lines := []string{
		"package volumes=2.5 temperature=38 headspace=15mL drop=1points og=1.050 air=5kPa",
		"package volumes=2.5 temperature=4 headspace=15mL",
		"co2 temperature=-1.5 pressure=80 altitude=1500m inert=12kPa",
		"pressure temperature=24 volumes=2.2 altitude=900ft inert=3",
		"cool temperature=14.4 to=-1 pressure=20 beer=20hL headspace=2hL inert=15",
		"rise temperature=3 pressure=20 beer=20hL headspace=2hL drop=0.2 og=1.080",
		"balling og=1.050 fg=0.997", "freeze og=1.030 fg=1.022", "sg plato=0.5", "plato sg=1.1",
	}
	for _, c := range All() {
		lines = append(lines, c.Name+" "+c.Example)
	}
	for _, line := range lines {
		t.Run(line, func(t *testing.T) {
			name, example, _ := strings.Cut(line, " ")
			result, err := Run(name, figures(t, example))
			require.NoError(t, err)
			checked := 0
			for _, step := range result.Explain().Steps {
				sum, claimed, ok := worked(step)
				if !ok {
					continue
				}
				got, err := evaluate(sum)
				require.NoError(t, err, step)
				assert.InDelta(t, claimed, got, 5e-5*math.Abs(claimed)+cancelling(step), step)
				checked++
			}
			if name != "convert" {
				assert.Positive(t, checked, "no line of this answer can be worked again")
			}
		})
	}
}
