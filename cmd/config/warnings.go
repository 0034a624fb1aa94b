package config

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"spile/detect"
)

// Warnings says, in plain sentences, what the brewer may not expect of this
// configuration.
func (c Config) Warnings() []string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(c.Tanks)) {
		if c.Tanks[name].ReliefKPa == 0 {
			out = append(out, fmt.Sprintf("relief not given: over-pressure is NOT watched for %s", name))
		}
	}
	if len(c.Tanks) == 0 {
		out = append(out, "no tanks given: they are learned as they speak, and over-pressure is NOT watched for them")
	}
	if len(c.Webhooks) == 0 {
		out = append(out, "no webhooks given: nobody is woken; alarms stand on the pages only")
	}
	if c.HTTP.Public == "" && len(c.Webhooks) > 0 {
		out = append(out, "http.public not set: messages carry no acknowledge link, and a call is repeated four times at most")
	}
	if c.HTTP.Public != "" && c.HTTP.Token == "" {
		out = append(out, "http.public is set without http.token_file: nobody can write the log or acknowledge, and messages carry no acknowledge link")
	}
	if len(c.Webhooks) == 1 && c.Heartbeat == nil {
		out = append(out, "one webhook and no heartbeat: when "+c.Webhooks[0].Name+" cannot be reached, only the pages say so")
	}
	if c.Standby != nil && c.Heartbeat == nil {
		out = append(out, "standby without a heartbeat: when this spile is dead while the other speaks, nobody says so")
	}
	out = append(out, c.unheard()...)
	if c.HTTP.Anonymous && !loopback(c.HTTP.Listen) {
		out = append(out, "http.anonymous: other machines reach the pages, and nobody needs a token")
	}
	if c.MQTT.Anonymous && c.MQTT.Listen != "" && !loopback(c.MQTT.Listen) {
		out = append(out, "mqtt.anonymous: whoever reaches the port can publish readings and log lines")
	}
	return append(out, c.alone()...)
}

// unheard says when nobody is called, and what reaches nobody.
func (c Config) unheard() []string {
	if len(c.Webhooks) == 0 {
		return nil
	}
	var out []string
	policy := c.Policy()
	monday := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC) // any week: only the clock on the wall counts
	for at := monday; at.Before(monday.AddDate(0, 0, 7)); at = at.Add(time.Minute) {
		if !policy.Reachable(at) {
			out = append(out, "there are hours in which no webhook may be used, such as "+at.Format("Mon 15:04")+": an alarm then waits")
			break
		}
	}
	if !slices.ContainsFunc(c.Webhooks, func(w Webhook) bool { return w.Priority == detect.Low }) {
		out = append(out, "no webhook of priority low: what is asked for by `tell`, and the question after `work`, reach nobody")
	}
	return out
}

// alone names the gas groups that join nothing.
func (c Config) alone() []string {
	members := map[string]int{}
	for _, t := range c.Tanks {
		members[t.GasGroup]++
	}
	var out []string
	for _, name := range slices.Sorted(maps.Keys(c.Tanks)) {
		if group := c.Tanks[name].GasGroup; group != "" && members[group] == 1 {
			key := "tanks." + name + ".gas-group"
			out = append(out, fmt.Sprintf("%s: %s: no other tank is in group %s, so nothing is joined", c.Where(key), key, group))
		}
	}
	return out
}
