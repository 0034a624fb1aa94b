package page

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestNoLineEndsBetweenAFigureAndItsUnit(t *testing.T) {
	for page, want := range map[string]string{
		`<p>Now head 97.4 kPa, valve 100.0 kPa</p>`:                 `<p>Now head 97.4_kPa, valve 100.0_kPa</p>`,
		`<p>setpoint 14.4 °C</p>`:                                   `<p>setpoint 14.4_°C</p>`,
		`<p>1.23 g/L a day (0.88 to 1.49)</p>`:                      `<p>1.23_g/L a day (0.88 to 1.49)</p>`,
		`<p>heard 2 min ago, for 3 h; 78 %</p>`:                     `<p>heard 2_min ago, for 3_h; 78_%</p>`,
		`<p>3 alarms, 2 heads, 5 minor, 1 she</p>`:                  `<p>3 alarms, 2 heads, 5 minor, 1 she</p>`,
		`<img alt="90 kPa"><input value="90 kPa">`:                  `<img alt="90 kPa"><input value="90 kPa">`,
		`<textarea name="note">let 20 kPa off</textarea><p>2 h</p>`: `<textarea name="note">let 20 kPa off</textarea><p>2_h</p>`,
		`<style>p { margin: 0 h }</style>`:                          `<style>p { margin: 0 h }</style>`,
		`<td>12 </td>`:                                              `<td>12 </td>`,
		` kPa 7 kPa`:                                                ` kPa 7_kPa`,
		`<p>7 h<em>2 h`:                                             `<p>7_h<em>2_h`,
		`3 h <b`:                                                    `3_h <b`,
		`<style>p { margin: 0 h }`:                                  `<style>p { margin: 0 h }`,
		`7 °`:                                                       `7 °`,
	} {
		assert.Equal(t, strings.ReplaceAll(want, "_", noBreak), string(keepTogether([]byte(page))))
	}
}

func BenchmarkKeepTogether(b *testing.B) {
	page := []byte(strings.Repeat(`<div><dt>pressure</dt><dd><span class="number">97.4</span> <span class="unit">kPa</span></dd></div>
<p>Closed, holding pressure. CO2 is made at 1.23 g/L a day (0.90 to 1.49). Pressure relief valve set at 200.0 kPa.</p>`, 1600))
	b.SetBytes(int64(len(page)))
	for b.Loop() {
		keepTogether(page)
	}
}
