package main

import "io"

// streams are where a command writes: answers to out, everything else to err.
type streams struct {
	out io.Writer
	err io.Writer
}

// usageError marks an error as the caller's: the program ends with exit code 2.
type usageError struct{ error }

// Unwrap gives the error inside.
func (e usageError) Unwrap() error { return e.error }
