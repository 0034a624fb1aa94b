package config

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"

	"spile/detect"
)

// reader walks over the nodes of the file, fills in a Config and collects what
// is wrong. It works on nodes, not on tagged structs, because then every error
// knows its line and the mend.
type reader struct {
	file   string
	folder string // relative paths count from here
	faults Errors
	given  map[string]int
}

// take reads the value of one key; at is the path of the key.
type take func(at string, n *yaml.Node)

func (r *reader) fault(n *yaml.Node, format string, args ...any) {
	r.faults = append(r.faults, Fault{File: r.file, Line: n.Line, Text: fmt.Sprintf(format, args...)})
}

// faultAt is fault for a key that was given somewhere, or the file as a whole.
func (r *reader) faultAt(key, format string, args ...any) {
	r.faults = append(r.faults, Fault{File: r.file, Line: r.given[key], Text: fmt.Sprintf(format, args...)})
}

// parse turns the text into nodes; nil where it is no YAML, or empty.
func (r *reader) parse(text []byte) *yaml.Node {
	var documents []*yaml.Node
	loader, err := yaml.NewLoader(strings.NewReader(string(text)))
	for err == nil {
		document := new(yaml.Node)
		if err = loader.Load(document); err == nil {
			documents = append(documents, document)
		}
	}
	switch {
	case len(documents) > 1:
		r.fault(documents[1], "a second document begins here: keep all in one")
		return nil
	case !errors.Is(err, io.EOF):
		f := syntaxFault(r.file, err)
		if indentedByTab(text, f.Line) {
			f.Text = "this is not YAML: the line is indented with a tab: write spaces in its place"
		}
		r.faults = append(r.faults, f)
		return nil
	case len(documents) == 0 || len(documents[0].Content) == 0:
		return nil
	}
	return documents[0].Content[0]
}

// indentedByTab tells whether a tab stands before what a line says, where editors put it and YAML takes none.
func indentedByTab(text []byte, line int) bool {
	lines := strings.Split(string(text), "\n")
	if line < 1 || line > len(lines) {
		return false
	}
	before, _, _ := strings.Cut(strings.TrimLeft(lines[line-1], " "), strings.TrimSpace(lines[line-1]))
	return strings.HasPrefix(before, "\t")
}

func syntaxFault(file string, err error) Fault {
	var where *yaml.LoadError
	if !errors.As(err, &where) {
		return Fault{File: file, Text: "this is not YAML: " + err.Error()}
	}
	line := where.Mark.Line
	if line == 0 {
		line = where.ContextMark.Line
	}
	text := "this is not YAML: " + where.Message
	if where.ContextMsg != "" {
		text += " (" + where.ContextMsg + ")"
	}
	return Fault{File: file, Line: line, Text: text}
}

// mapping reads a mapping whose keys are known.
func (r *reader) mapping(known map[string]take) take {
	names := slices.Sorted(maps.Keys(known))
	return func(at string, n *yaml.Node) {
		r.members(at, n, func(key string, name, value *yaml.Node) {
			if read, ok := known[name.Value]; ok {
				read(key, value)
				return
			}
			mend := "write one of " + strings.Join(names, ", ")
			if near := detect.Nearest(strings.ToLower(name.Value), names); near != "" {
				mend = fmt.Sprintf("did you mean %q?", near)
			}
			r.fault(name, "unknown key %q%s: %s", name.Value, within(at), mend)
		})
	}
}

func within(at string) string {
	if at == "" {
		return ""
	}
	return " in " + at
}

// named reads a mapping whose keys are names of the brewer's own.
func (r *reader) named(one func(at, name string, n *yaml.Node)) take {
	return func(at string, n *yaml.Node) {
		r.members(at, n, func(key string, name, value *yaml.Node) {
			if !detect.ValidName(name.Value) {
				r.fault(name, "%s: %q: %s", at, name.Value, detect.NameRule)
				return
			}
			one(key, name.Value, value)
		})
	}
}

// members goes over the keys of a mapping, once each. Nothing at all counts as
// an empty mapping.
func (r *reader) members(at string, n *yaml.Node, visit func(key string, name, value *yaml.Node)) {
	n = resolved(n)
	if isNull(n) {
		return
	}
	if n.Kind != yaml.MappingNode {
		r.fault(n, "%s is %s: write keys below it, as key: value", what(at), described(n))
		return
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		name, value := n.Content[i], n.Content[i+1]
		if name.Kind != yaml.ScalarNode {
			r.fault(name, "%s has a key that is %s: write a plain word", what(at), described(name))
			continue
		}
		if line, twice := seen[name.Value]; twice {
			r.fault(name, "%q is given twice%s, first in line %d: keep one", name.Value, within(at), line)
			continue
		}
		seen[name.Value] = name.Line
		key := join(at, name.Value)
		r.given[key] = name.Line
		visit(key, name, value)
	}
}

func join(at, name string) string {
	if at == "" {
		return name
	}
	return at + "." + name
}

// list reads a list, entry by entry.
func (r *reader) list(one func(at string, n *yaml.Node)) take {
	return func(at string, n *yaml.Node) {
		n = resolved(n)
		if isNull(n) {
			return
		}
		if n.Kind != yaml.SequenceNode {
			r.fault(n, "%s is %s: write a list, each entry after a dash", at, described(n))
			return
		}
		for i, entry := range n.Content {
			key := join(at, strconv.Itoa(i))
			r.given[key] = entry.Line
			one(key, entry)
		}
	}
}

// resolved follows an alias to what it stands for.
func resolved(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode && n.Alias != nil {
		return n.Alias
	}
	return n
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null" }

// described says what a node is, for an error.
func described(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.Kind == yaml.MappingNode:
		return "a mapping"
	case isNull(n):
		return "nothing"
	}
	return strconv.Quote(n.Value)
}

func what(at string) string {
	if at == "" {
		return "the configuration"
	}
	return at
}
