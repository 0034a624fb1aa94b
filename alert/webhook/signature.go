package webhook

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Limits of a signing key, by the Standard Webhooks specification 1.0.0.
const (
	shortestKey  = 24 // bytes
	longestKey   = 64
	secretPrefix = "whsec_"
)

var errKey = errors.New(`the secret is base64 of 24 to 64 random bytes, with or without "whsec_" before it; ` +
	`openssl rand -base64 32 makes one`)

// signingKey reads a secret. The error does not show it.
func signingKey(s Secret) ([]byte, error) {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(strings.TrimSpace(string(s)), secretPrefix))
	if err != nil {
		return nil, errKey
	}
	if len(key) < shortestKey || len(key) > longestKey {
		return nil, fmt.Errorf("%w: this one has %d bytes", errKey, len(key))
	}
	return key, nil
}

// sign is the value of the header webhook-signature: HMAC-SHA256 over id, time and body, version v1.
func sign(key []byte, id string, at time.Time, body []byte) string {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(id + "." + strconv.FormatInt(at.Unix(), 10) + "."))
	mac.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}
