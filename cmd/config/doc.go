// Package config reads spile's configuration, a YAML file, and says what is in
// force.
//
// It is strict: an unknown key, a key given twice, a wrong unit, a figure that
// cannot be meant and a file that is not there are errors, each with file, line
// and mend, and all of them are told at once. Relative paths count from the
// folder of the configuration. Without a file, Default is a working cellar on
// the loopback interface.
//
// It holds plain data and starts nothing: the daemon turns it into the options
// of its parts. Secrets come from files of their own and are of type Secret,
// which shows itself to nobody who does not ask by name.
package config
