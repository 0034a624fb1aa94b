package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/detect/beer"
)

// statusCommand shows the cellar in one screen.
type statusCommand struct {
	running
	Format string `enum:"text,ndjson" default:"text" help:"Text for people, or NDJSON: one line per tank."`
}

// tankLine is what the API says of a tank, as far as one line needs it.
type tankLine struct {
	Tank     string    `json:"tank"`
	At       time.Time `json:"at"`
	Readings map[detect.Quantity]struct {
		Value float64 `json:"value"`
	} `json:"readings"`
	Probes []struct {
		LastHeard time.Time `json:"last_heard"`
		Outside   bool      `json:"outside"`
	} `json:"probes"`
	Setpoint *float64         `json:"crash_setpoint_celsius"`
	Gas      detect.Gas       `json:"gas"`
	Alarms   []alert.Incident `json:"alarms"`
}

// airLines is what the API says of the air outside.
type airLines struct {
	At         time.Time        `json:"at"`
	Barometers []alert.Air      `json:"barometers"`
	Alarms     []alert.Incident `json:"alarms"`
}

// print writes what is open there, and last what the air is by each barometer.
func (a airLines) print(out io.Writer, units detect.Display) error {
	if err := printAlarms(out, a.Alarms, units); err != nil {
		return err
	}
	for _, b := range a.Barometers {
		if _, err := fmt.Fprintln(out, alert.Words{Display: units}.Air(b, a.At)); err != nil {
			return err
		}
	}
	return nil
}

// Run asks the daemon and prints its answer.
func (c *statusCommand) Run(ctx context.Context, s *streams) error {
	var answer struct {
		Display detect.Display    `json:"display"`
		Tanks   []json.RawMessage `json:"tanks"`
		Air     airLines          `json:"air"`
	}
	if err := c.get(ctx, "/api/v1/tanks", &answer); err != nil {
		return err
	}
	if c.Format == "ndjson" {
		for _, t := range answer.Tanks {
			if _, err := fmt.Fprintf(s.out, "%s\n", t); err != nil {
				return err
			}
		}
		return nil
	}
	tanks := make([]tankLine, len(answer.Tanks))
	for i, t := range answer.Tanks {
		if err := json.Unmarshal(t, &tanks[i]); err != nil {
			return fmt.Errorf("the daemon's answer: %w", err)
		}
	}
	if err := printTanks(s.out, tanks, answer.Display); err != nil {
		return err
	}
	return answer.Air.print(s.out, answer.Display)
}

// printTanks writes one line for each tank, and below it what is open there, the unit first that the cellar reads.
func printTanks(out io.Writer, tanks []tankLine, units detect.Display) error {
	if len(tanks) == 0 {
		_, err := fmt.Fprintln(out, "No tank has spoken yet. Probes publish on cellar/{tank}/{probe}.")
		return err
	}
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "tank\tgravity\tbeer\tsetpoint\thead\tgas\tlast heard")
	for _, t := range tanks {
		setpoint := "-"
		if t.Setpoint != nil {
			setpoint = beer.BothFrom(*t.Setpoint, units.Temperature, beer.KindTemperature)
		}
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", t.Tank,
			t.figure(detect.Gravity, units.Gravity), t.figure(detect.Temperature, units.Temperature), setpoint,
			t.figure(detect.Pressure, units.Pressure), t.Gas, t.age())
	}
	if err := table.Flush(); err != nil {
		return err
	}
	for _, t := range tanks {
		if err := printAlarms(out, t.Alarms, units); err != nil {
			return err
		}
	}
	return nil
}

// printAlarms writes a line for each alarm.
func printAlarms(out io.Writer, alarms []alert.Incident, units detect.Display) error {
	for _, a := range alarms {
		if _, err := fmt.Fprintf(out, "%s: %s %s: %s%s\n",
			strings.ToUpper(string(a.Priority)), alert.Comma(alert.InAWord(a.Alarm, a.Title())), a.State, a.Summary, present(a, units)); err != nil {
			return err
		}
	}
	return nil
}

// present is how the figures of an alarm stand now, behind those of its call.
func present(a alert.Incident, units detect.Display) string {
	if a.Now == nil {
		return ""
	}
	return "; now " + alert.Words{Display: units}.Now(*a.Now)
}

func (t tankLine) figure(q detect.Quantity, unit string) string {
	r, ok := t.Readings[q]
	if !ok {
		return "-"
	}
	return beer.BothFrom(r.Value, unit, beer.Kind(q))
}

// age is how long ago a probe in the tank was last heard.
func (t tankLine) age() string {
	var newest time.Time
	for _, p := range t.Probes {
		if !p.Outside && p.LastHeard.After(newest) {
			newest = p.LastHeard
		}
	}
	if newest.IsZero() {
		return "never"
	}
	return detect.Age(t.At.Sub(newest))
}
