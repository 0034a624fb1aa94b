package main

import (
	"context"
	"fmt"

	"spile/alert"
	"spile/alert/webhook"
)

// tryWebhookCommand sends one marked test notification.
type tryWebhookCommand struct {
	Config string `type:"path" help:"The config that has the webhook."`
	Name   string `arg:"" help:"The webhook's name in the config."`
}

// Run sends it and prints what came back.
func (c *tryWebhookCommand) Run(ctx context.Context, s *streams) error {
	if c.Config == "" {
		return fmt.Errorf("%s: without a config there is no webhook; give --config", c.Name)
	}
	_, o, err := configure(c.Config)
	if err != nil {
		return err
	}
	sender, err := webhook.New(webhook.Options{
		Webhooks: o.Webhooks, Words: alert.Words{Zone: o.Zone, Display: o.Display},
	})
	if err != nil {
		return err
	}
	answer, err := sender.TryOnce(ctx, c.Name)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s answered %d to %s\n", c.Name, answer.Code, answer.ID)
	if answer.Body != "" {
		fmt.Fprintln(s.out, answer.Body)
	}
	if answer.Code < 200 || answer.Code > 299 {
		return fmt.Errorf("%s did not take it: only an answer of 200 to 299 counts as delivered", c.Name)
	}
	return nil
}
