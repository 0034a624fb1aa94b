package house

import (
	"fmt"
	"go/ast"
	"path"
	"slices"
)

// The bounds of what one can take in at once.
const (
	longestFunction = 80
	longestFile     = 500
)

// vague are names that say what kind of thing is inside, not which.
var vague = []string{"util", "utils", "common", "helper", "helpers", "types", "misc", "base"}

// comments checks that every package has one package comment, and only one:
// of two, godoc makes one text that nobody wrote.
func comments(t *tree) (faults []string) {
	for dir, pkg := range t.packages() {
		count, code := 0, 0
		for _, s := range pkg {
			if s.test {
				continue
			}
			code++
			if s.syntax.Doc != nil {
				count++
			}
		}
		if code > 0 && count != 1 {
			faults = append(faults, fmt.Sprintf("%s: %d package comments, want 1", dir, count))
		}
	}
	return faults
}

// documented checks that every exported name explains itself, alone or as
// one of a group under a comment.
func documented(t *tree) (faults []string) {
	missing := func(at ast.Node, name string) {
		faults = append(faults, t.fault(at, "exported %s has no comment", name))
	}
	for _, s := range t.sources {
		if s.test {
			continue
		}
		for _, d := range s.syntax.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Doc == nil && d.Name.IsExported() && onExported(d.Recv) {
					missing(d, d.Name.Name)
				}
			case *ast.GenDecl:
				for _, spec := range d.Specs {
					if name := undocumented(spec); name != "" && d.Doc == nil {
						missing(spec, name)
					}
				}
			}
		}
	}
	return faults
}

// onExported tells whether a receiver can be seen from outside; a function,
// which has none, can.
func onExported(recv *ast.FieldList) bool {
	if recv == nil {
		return true
	}
	e := recv.List[0].Type
	for {
		switch x := e.(type) {
		case *ast.StarExpr:
			e = x.X
		case *ast.IndexExpr: // a type parameter
			e = x.X
		case *ast.IndexListExpr:
			e = x.X
		case *ast.Ident:
			return x.IsExported()
		default:
			return false
		}
	}
}

// undocumented gives the exported name that a declaration leaves bare.
func undocumented(spec ast.Spec) string {
	switch x := spec.(type) {
	case *ast.TypeSpec:
		if x.Name.IsExported() && x.Doc == nil {
			return x.Name.Name
		}
	case *ast.ValueSpec:
		for _, name := range x.Names {
			if name.IsExported() && x.Doc == nil && x.Comment == nil {
				return name.Name
			}
		}
	}
	return ""
}

// lengths checks the tail. Tests are free: a table is one function.
func lengths(t *tree) (faults []string) {
	for _, s := range t.sources {
		if s.test {
			continue
		}
		if s.lines > longestFile {
			faults = append(faults, fmt.Sprintf("%s: %d lines, at most %d", s.path, s.lines, longestFile))
		}
		for _, d := range s.syntax.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			n := t.fset.Position(f.End()).Line - t.fset.Position(f.Pos()).Line + 1
			if n > longestFunction {
				faults = append(faults, t.fault(f, "%s has %d lines, at most %d", f.Name.Name, n, longestFunction))
			}
		}
	}
	return faults
}

// names checks that packages and files are named by the noun they own.
func names(t *tree) (faults []string) {
	for _, s := range t.sources {
		file := path.Base(s.path)
		file = file[:len(file)-len(path.Ext(file))]
		for _, name := range []string{s.syntax.Name.Name, file} {
			if slices.Contains(vague, name) {
				faults = append(faults, fmt.Sprintf("%s: %q says nothing: name it by what it owns", s.path, name))
			}
		}
	}
	return faults
}
