package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/pprof"
	"time"
)

// profiles serves the profiles of the running program, see package
// net/http/pprof, to this machine alone. The function given ends it.
func profiles(ctx context.Context, address string) (end func(), err error) {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, usageError{fmt.Errorf("--pprof=%s: %w", address, err)}
	}
	if at, ok := listener.Addr().(*net.TCPAddr); !ok || !at.IP.IsLoopback() {
		return nil, errors.Join(usageError{fmt.Errorf("--pprof=%s: other machines would reach it: write 127.0.0.1:6060", address)}, listener.Close())
	}
	mux := http.NewServeMux()
	mux.HandleFunc("/debug/pprof/", pprof.Index)
	mux.HandleFunc("/debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("/debug/pprof/trace", pprof.Trace)
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	go func() { _ = server.Serve(listener) }() // it ends by Close
	return func() { _ = server.Close() }, nil
}
