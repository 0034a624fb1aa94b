package influx

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"spile/detect"
)

// measurement is the name that all lines share.
const measurement = "cellar"

// escapes is what the line protocol wants before these in a tag's value.
var escapes = strings.NewReplacer(",", `\,`, " ", `\ `, "=", `\=`)

// appendLine adds one reading as a line, without its end. The tags stand in
// the order of their keys, which spares the store sorting them.
func appendLine(line []byte, site string, r detect.Reading) ([]byte, error) {
	if err := errors.Join(checkTag("tank", r.Tank), checkTag("probe", r.Probe), checkField(r)); err != nil {
		return nil, err
	}
	line = append(line, measurement...)
	line = appendTag(line, "probe", r.Probe)
	if site != "" {
		line = appendTag(line, "site", site)
	}
	line = appendTag(line, "tank", r.Tank)
	line = append(line, ' ')
	line = append(line, r.Quantity...)
	line = append(line, '=')
	line = strconv.AppendFloat(line, r.Value, 'f', -1, 64)
	line = append(line, ' ')
	return strconv.AppendInt(line, r.Time.UnixMilli(), 10), nil
}

func appendTag(line []byte, key, value string) []byte {
	line = append(line, ',')
	line = append(line, key...)
	line = append(line, '=')
	return append(line, escapes.Replace(value)...)
}

// checkTag refuses what the line protocol cannot carry in a tag: nothing, a
// control character, which could end the line, and the backslash, which means
// one thing before a comma and another before a letter.
func checkTag(key, value string) error {
	switch {
	case value == "":
		return fmt.Errorf("the %s has no name", key)
	case !utf8.ValidString(value):
		return fmt.Errorf("%s %q is not UTF-8", key, value)
	case strings.ContainsFunc(value, func(r rune) bool { return r == '\\' || unicode.IsControl(r) }):
		return fmt.Errorf("%s %q: a backslash or a control character cannot stand in an InfluxDB tag", key, value)
	}
	return nil
}

func checkField(r detect.Reading) error {
	if r.Quantity.Unit() == "" {
		return fmt.Errorf("quantity %q has no field", r.Quantity)
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("%s %v is no number to InfluxDB", r.Quantity, r.Value)
	}
	return nil
}
