package webhook

import (
	"fmt"
	"log/slog"
)

// Secret is a text that must not be seen: a webhook's address is one too, for it often holds a token. However it is
// printed, logged or marshalled, it shows a mask.
type Secret string

// mask stands for a secret.
const mask = "(hidden)"

// String is the mask.
func (Secret) String() string { return mask }

// Format is the mask, whatever the verb.
func (Secret) Format(f fmt.State, _ rune) { _, _ = f.Write([]byte(mask)) }

// LogValue is the mask.
func (Secret) LogValue() slog.Value { return slog.StringValue(mask) }

// MarshalText is the mask.
func (Secret) MarshalText() ([]byte, error) { return []byte(mask), nil }
