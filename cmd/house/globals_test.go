package house

import (
	"go/ast"
	"go/token"
	"slices"
	"strings"
)

// fixed are the calls whose result never changes once it is made.
var fixed = []string{
	"errors.New", "fmt.Errorf", "regexp.MustCompile", "strings.NewReplacer",
	"html/template.Must", "text/template.Must", "encoding/base32.StdEncoding.WithPadding",
	"github.com/prometheus/client_golang/prometheus.NewDesc",
}

// globals checks that no package holds state: a package-level variable is an
// error, a compiled pattern, an embedded file or a table that nobody writes.
func globals(t *tree) (faults []string) {
	for _, pkg := range t.packages() {
		tables := map[string]*ast.ValueSpec{}
		for _, s := range pkg {
			if s.test {
				continue
			}
			for _, spec := range variables(s.syntax) {
				if !s.readOnly(spec) {
					faults = append(faults, t.fault(spec, "package-level variable %s: make it a field", spec.Names[0].Name))
				}
				for _, name := range spec.Names {
					tables[name.Name] = spec
				}
			}
		}
		for _, s := range pkg {
			faults = append(faults, t.writes(s, tables)...)
		}
	}
	return faults
}

// variables lists the package-level variables but for embedded files and for
// the blank ones, which only state that a type fits an interface.
func variables(f *ast.File) (specs []*ast.ValueSpec) {
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.VAR {
			continue
		}
		for _, spec := range g.Specs {
			v, ok := spec.(*ast.ValueSpec)
			if ok && v.Names[0].Name != "_" && !embedded(g.Doc) && !embedded(v.Doc) {
				specs = append(specs, v)
			}
		}
	}
	return specs
}

func embedded(doc *ast.CommentGroup) bool {
	return doc != nil && slices.ContainsFunc(doc.List, func(c *ast.Comment) bool {
		return strings.HasPrefix(c.Text, "//go:embed ")
	})
}

// readOnly tells whether every value of the declaration is of a kind that
// stays as it is written.
func (s *source) readOnly(spec *ast.ValueSpec) bool {
	if len(spec.Values) == 0 {
		word, ok := spec.Type.(*ast.Ident)
		return ok && word.Name == "string" && s.syntax.Name.Name == "main" // the linker's to set, by -X
	}
	return !slices.ContainsFunc(spec.Values, func(value ast.Expr) bool {
		switch v := value.(type) {
		case *ast.CompositeLit:
			return false
		case *ast.CallExpr:
			return !slices.Contains(fixed, s.callee(v.Fun))
		}
		return true
	})
}

// callee spells a called function with the path of its package.
func (s *source) callee(e ast.Expr) string {
	if pkg, name := s.qualified(e); pkg != "" {
		return pkg + "." + name
	}
	if sel, ok := e.(*ast.SelectorExpr); ok {
		return s.callee(sel.X) + "." + sel.Sel.Name
	}
	return ""
}

// writes finds what changes a package-level variable: of its own package, in
// tests too, or of another package of this module.
func (t *tree) writes(s *source, tables map[string]*ast.ValueSpec) (faults []string) {
	check := func(target ast.Expr) {
		if name := s.global(target, tables); name != "" {
			faults = append(faults, t.fault(target, "%s is a package-level variable: it must not change", name))
		}
	}
	ast.Inspect(s.syntax, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			if n.Tok != token.DEFINE {
				for _, target := range n.Lhs {
					check(target)
				}
			}
		case *ast.IncDecStmt:
			check(n.X)
		case *ast.UnaryExpr:
			if n.Op == token.AND {
				check(n.X)
			}
		case *ast.CallExpr:
			if f, ok := n.Fun.(*ast.Ident); ok && (f.Name == "delete" || f.Name == "clear") && len(n.Args) > 0 {
				check(n.Args[0])
			}
		}
		return true
	})
	return faults
}

// global names the package-level variable that an expression lies in, if any.
func (s *source) global(e ast.Expr, tables map[string]*ast.ValueSpec) string {
	for {
		if pkg, name := s.qualified(e); under(pkg, []string{module}) {
			return pkg + "." + name
		}
		switch x := e.(type) {
		case *ast.IndexExpr:
			e = x.X
		case *ast.SelectorExpr:
			e = x.X
		case *ast.ParenExpr:
			e = x.X
		case *ast.StarExpr:
			e = x.X
		case *ast.Ident:
			spec, ok := tables[x.Name]
			// Obj is nil for a name of another file, and the declaration itself
			// for one of this file; a local of the same name has its own.
			if ok && (x.Obj == nil || x.Obj.Decl == spec) {
				return x.Name
			}
			return ""
		default:
			return ""
		}
	}
}
