package daemon

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

// KeyError is what stands against the value of a key of the config, and shows only at a start.
type KeyError struct {
	Key string // such as mqtt.listen
	Err error
}

// Error names the key before what was met.
func (e KeyError) Error() string { return e.Key + ": " + e.Err.Error() }

// Unwrap gives what was met.
func (e KeyError) Unwrap() error { return e.Err }

// unheard says why a port cannot be listened at, and the mend.
func unheard(key, address, other string, err error) error {
	mend := "look at the address and the port"
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		mend = "another program listens there: " + other
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		mend = "this machine has no such address: write one of its own, or 0.0.0.0 for each of them"
	case errors.Is(err, syscall.EACCES):
		mend = "a port below 1024 is the system's: write one above"
	}
	return KeyError{key, fmt.Errorf("%s: %s (%w)", address, mend, err)}
}

// unkept says that the journal's folder is at fault, where it is.
func unkept(folder string, err error) error {
	var path *fs.PathError
	if !errors.As(err, &path) {
		return err
	}
	return KeyError{"data", fmt.Errorf("%s: the journal cannot be written there: name a folder that the user who runs spile may write to (%w)", folder, err)}
}
