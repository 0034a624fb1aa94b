// Command generate writes the dashboards of deploy/grafana as JSON, from the folder of the repository:
//
//	go run ./deploy/grafana/generate deploy/grafana/dashboards
//
// The panels are made here and not in the files, so that every one of a kind looks the same and a metric that is renamed
// is found. A test holds the files against what this writes, and another runs every query against a real Prometheus.
package main

import (
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 1 {
		return fmt.Errorf("give the folder to write into, as deploy/grafana/dashboards")
	}
	files, err := dashboards()
	if err != nil {
		return err
	}
	for name, body := range files {
		if err := os.WriteFile(filepath.Join(args[0], name), body, 0o644); err != nil { //nolint:gosec // to be read by Grafana
			return err
		}
	}
	return nil
}
