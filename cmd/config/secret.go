package config

import "log/slog"

// Secret is a text that must not be seen: a token, a password, a key, an
// address that lets in whoever knows it. However it is printed, logged or
// encoded, it shows only that it is there.
type Secret string

const masked = "(given, not shown)"

// Reveal gives the secret itself.
func (s Secret) Reveal() string { return string(s) }

// String is empty for an empty secret, else a mask.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return masked
}

// GoString masks the secret in %#v.
func (s Secret) GoString() string { return s.String() }

// MarshalText masks the secret in JSON and other encodings.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// MarshalYAML masks the secret in YAML.
func (s Secret) MarshalYAML() (any, error) { return s.String(), nil }

// LogValue masks the secret in a log.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }
