package house

import (
	"slices"
	"strings"
)

// forbiddenArrows says what the packages under a directory never import. The
// path of a reading is one way: cmd wires, ingest hears, detect understands,
// alert tells.
var forbiddenArrows = map[string][]string{
	"detect": {"spile/alert", "spile/ingest", "spile/cmd", "spile/deploy"},
	"alert":  {"spile/ingest", "spile/cmd", "spile/deploy"},
	"ingest": {"spile/alert", "spile/cmd", "spile/deploy"},
}

// impure is what a package under detect must not reach: disk, network, logs
// and the machine's own randomness.
var impure = []string{
	"os", "net", "database", "log", "syscall", "io/fs", "io/ioutil", "path/filepath", "crypto/rand", "plugin",
}

// forTests is what only tests and the servers of tests import.
var forTests = []string{
	"testing", "spile/ingest/servertest", "github.com/stretchr/testify", "pgregory.net/rapid", "go.uber.org/goleak",
	"github.com/rogpeppe/go-internal", "github.com/chromedp", "github.com/pb33f",
}

const servers = "spile/ingest/servertest"

// under tells whether p is one of the paths or lies below one.
func under(p string, paths []string) bool {
	return slices.ContainsFunc(paths, func(dir string) bool {
		return p == dir || strings.HasPrefix(p, dir+"/")
	})
}

func standard(p string) bool {
	first, _, _ := strings.Cut(p, "/")
	return first != module && !strings.Contains(first, ".")
}

// arrows checks that imports run one way, in tests too; only the servers for
// tests, which know nothing of spile, may be used by any test.
func arrows(t *tree) (faults []string) {
	for _, s := range t.sources {
		for _, spec := range s.syntax.Imports {
			p := importPath(spec)
			if under(p, forbiddenArrows[s.top()]) && (!s.test || p != servers) {
				faults = append(faults, t.fault(spec, "%s must not import %s", s.top(), p))
			}
		}
	}
	return faults
}

// pureImports checks that detect rests on the pure part of the standard
// library, itself and the numerical library alone.
func pureImports(t *tree) (faults []string) {
	for _, s := range t.sources {
		if s.top() != "detect" || s.test {
			continue
		}
		for _, spec := range s.syntax.Imports {
			p := importPath(spec)
			ours := under(p, []string{"spile/detect", "gonum.org/v1/gonum"})
			if !ours && (!standard(p) || under(p, impure)) {
				faults = append(faults, t.fault(spec, "detect is pure: it must not import %s", p))
			}
		}
	}
	return faults
}

// testImports keeps what is made for tests out of the daemon.
func testImports(t *tree) (faults []string) {
	for _, s := range t.sources {
		if s.test || strings.HasPrefix(s.path, "ingest/servertest/") {
			continue
		}
		for _, spec := range s.syntax.Imports {
			if p := importPath(spec); under(p, forTests) {
				faults = append(faults, t.fault(spec, "%s is for tests", p))
			}
		}
	}
	return faults
}

// dotImports hide where a name comes from, from readers and from these rules.
func dotImports(t *tree) (faults []string) {
	for _, s := range t.sources {
		for _, spec := range s.syntax.Imports {
			if spec.Name != nil && spec.Name.Name == "." {
				faults = append(faults, t.fault(spec, "import %s by its name", importPath(spec)))
			}
		}
	}
	return faults
}
