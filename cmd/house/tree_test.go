package house

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"regexp"
	"strconv"
	"strings"
)

// module is the path that go.mod gives.
const module = "spile"

var majorVersion = regexp.MustCompile(`^v[0-9]+$`)

// tree is the repository as the rules see it.
type tree struct {
	fsys    fs.FS
	fset    *token.FileSet
	sources []*source
}

// source is one Go file.
type source struct {
	path   string // from the top, with slashes
	test   bool
	lines  int
	syntax *ast.File
	names  map[string]string // what the file calls its imports -> their paths
}

// load parses every Go file but those that the go command passes over.
func load(fsys fs.FS) (*tree, error) {
	t := &tree{fsys: fsys, fset: token.NewFileSet()}
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir() || path.Ext(name) != ".go":
			return nil
		}
		return t.parse(name)
	})
	return t, err
}

func (t *tree) parse(name string) error {
	text, err := fs.ReadFile(t.fsys, name)
	if err != nil {
		return err
	}
	syntax, err := parser.ParseFile(t.fset, name, text, parser.ParseComments)
	if err != nil {
		return err
	}
	t.sources = append(t.sources, &source{
		path:   name,
		test:   strings.HasSuffix(name, "_test.go"),
		lines:  strings.Count(string(text), "\n"),
		syntax: syntax,
		names:  importNames(syntax),
	})
	return nil
}

// packages gives the sources by directory.
func (t *tree) packages() map[string][]*source {
	out := map[string][]*source{}
	for _, s := range t.sources {
		out[path.Dir(s.path)] = append(out[path.Dir(s.path)], s)
	}
	return out
}

// fault is one broken rule, at a place one can go to.
func (t *tree) fault(at ast.Node, format string, args ...any) string {
	p := t.fset.Position(at.Pos())
	return fmt.Sprintf("%s:%d: %s", p.Filename, p.Line, fmt.Sprintf(format, args...))
}

// top is the first directory of the file: detect, alert, ...
func (s *source) top() string {
	first, _, _ := strings.Cut(s.path, "/")
	return first
}

func importPath(spec *ast.ImportSpec) string {
	p, err := strconv.Unquote(spec.Path.Value)
	if err != nil {
		panic(err) // the parser takes only string literals here
	}
	return p
}

func importNames(f *ast.File) map[string]string {
	names := map[string]string{}
	for _, spec := range f.Imports {
		p := importPath(spec)
		name := path.Base(p)
		if majorVersion.MatchString(name) {
			name = path.Base(path.Dir(p))
		}
		if spec.Name != nil {
			name = spec.Name.Name
		}
		names[name] = p
	}
	return names
}

// qualified tells of an expression such as time.Now which package and which
// name it means; a local variable that bears a package's name is not one.
func (s *source) qualified(e ast.Node) (pkg, name string) {
	sel, ok := e.(*ast.SelectorExpr)
	if !ok {
		return "", ""
	}
	id, ok := sel.X.(*ast.Ident)
	if !ok || id.Obj != nil {
		return "", ""
	}
	return s.names[id.Name], sel.Sel.Name
}

// each visits every qualified name of the file.
func (s *source) each(visit func(at ast.Node, pkg, name string)) {
	ast.Inspect(s.syntax, func(n ast.Node) bool {
		if pkg, name := s.qualified(n); pkg != "" {
			visit(n, pkg, name)
		}
		return true
	})
}
