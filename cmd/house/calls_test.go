package house

import (
	"go/ast"
	"slices"
	"strings"
)

// clocks are the ways to ask the machine for the time, its place or a delay.
var clocks = []string{
	"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Local",
}

// seeded is what math/rand offers that draws nothing from the shared source.
var seeded = []string{
	"New", "NewPCG", "NewChaCha8", "NewSource", "NewZipf", "Rand", "Source", "Source64", "PCG", "ChaCha8", "Zipf",
}

// clock checks that time and randomness come into detect as arguments: so a
// night can be replayed in a blink, with the same answer.
func clock(t *tree) (faults []string) {
	for _, s := range t.sources {
		if s.top() != "detect" || s.test {
			continue
		}
		s.each(func(at ast.Node, pkg, name string) {
			switch {
			case pkg == "time" && slices.Contains(clocks, name):
				faults = append(faults, t.fault(at, "time comes in as an argument: no time.%s", name))
			case strings.HasPrefix(pkg, "math/rand") && !slices.Contains(seeded, name):
				faults = append(faults, t.fault(at, "randomness comes in as an argument: no rand.%s", name))
			}
		})
	}
	return faults
}

// sleep checks that tests wait for what they wait for, not for a while.
func sleep(t *tree) (faults []string) {
	for _, s := range t.sources {
		if !s.test {
			continue
		}
		s.each(func(at ast.Node, pkg, name string) {
			if pkg == "time" && name == "Sleep" {
				faults = append(faults, t.fault(at, "a test waits on a condition or a channel, never on time.Sleep; the clock of a bubble moves by <-time.After"))
			}
		})
	}
	return faults
}

// exits checks that only a command ends the process.
func exits(t *tree) (faults []string) {
	for _, s := range t.sources {
		if s.test || s.syntax.Name.Name == "main" {
			continue
		}
		s.each(func(at ast.Node, pkg, name string) {
			if pkg == "os" && name == "Exit" || pkg == "log" && strings.HasPrefix(name, "Fatal") {
				faults = append(faults, t.fault(at, "only package main ends the process: return an error"))
			}
		})
	}
	return faults
}

// inits checks that importing a package does nothing.
func inits(t *tree) (faults []string) {
	for _, s := range t.sources {
		for _, d := range s.syntax.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
				faults = append(faults, t.fault(f, "no init: let the caller build what it needs"))
			}
		}
	}
	return faults
}
