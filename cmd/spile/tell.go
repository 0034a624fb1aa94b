package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"spile/alert"
)

// teller prints the alarms' steps in words a brewer reads.
type teller struct {
	out   io.Writer
	words alert.Words
}

// tell prints what is news to a person: a call in full, the rest in a line.
func (t teller) tell(steps []alert.Transition) {
	for _, s := range steps {
		m := alert.NewMessage(s, nil)
		lines := []string{t.words.Headline(m)}
		if s.To == alert.Unacknowledged {
			lines = strings.Split(t.words.Text(m), "\n")
		}
		t.say(s.Time, mark(s), lines...)
	}
}

// mark says in three letters how much a line presses.
func mark(s alert.Transition) string {
	if s.To == alert.Unacknowledged {
		return "!!"
	}
	return "  "
}

// say prints lines under one time of the cellar's clock.
func (t teller) say(at time.Time, sign string, lines ...string) {
	zone := t.words.Zone
	if zone == nil {
		zone = time.UTC
	}
	for i, line := range lines {
		if i == 0 {
			fmt.Fprintf(t.out, "%s  %s %s\n", at.In(zone).Format("Mon 15:04"), sign, line)
			continue
		}
		fmt.Fprintf(t.out, "              %s\n", line)
	}
}
