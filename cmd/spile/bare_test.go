package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// asBare makes the test binary run as a subscriber that throws away what it hears: the measure of spile's pace.
const asBare = "SPILE_TEST_RUN_AS_BARE"

// The ways in which the client library can be used by one who throws away what it hears. Which is the fastest depends
// on the machine, so each is tried, and the fastest is the measure.
var bareWays = []string{"in order", "in any order", "acknowledged by the hundred"}

// bareSubscriber listens at a broker and says when it has heard so many messages.
func bareSubscriber() {
	broker, want, way := os.Args[1], os.Args[2], os.Args[3]
	n, err := strconv.ParseInt(want, 10, 64)
	if err != nil {
		panic(err)
	}
	done := make(chan struct{})
	var heard atomic.Int64
	hear := func(mqtt.Client, mqtt.Message) {
		if heard.Add(1) == n {
			close(done)
		}
	}
	options := mqtt.NewClientOptions().AddBroker(broker).SetClientID("bare")
	switch way {
	case "in any order":
		options.SetOrderMatters(false)
	case "acknowledged by the hundred":
		options.SetAutoAckDisabled(true)
		held := make([]mqtt.Message, 0, 100)
		count := hear
		hear = func(c mqtt.Client, m mqtt.Message) { // called for one message after another
			count(c, m)
			if held = append(held, m); len(held) < cap(held) && heard.Load() < n {
				return
			}
			for _, m := range held {
				m.Ack()
			}
			held = held[:0]
		}
	}
	client := mqtt.NewClient(options)
	client.Connect().Wait()
	client.Subscribe("cellar/#", 1, hear).Wait()
	fmt.Println("listening")
	<-done
	fmt.Println("done")
	client.Disconnect(100)
}

// bare starts one, and gives a channel on which comes when it had heard all.
func bare(t *testing.T, broker, way string, messages int) <-chan time.Time {
	t.Helper()
	cmd := exec.Command(os.Args[0], broker, strconv.Itoa(messages), way)
	cmd.Env = append(os.Environ(), asBare+"=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	stdout, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(stdout)
	require.True(t, lines.Scan(), "it listens")
	done := make(chan time.Time, 1)
	go func() {
		if lines.Scan() {
			done <- time.Now()
		}
		_ = cmd.Wait()
		close(done)
	}()
	return done
}

// forgotten has a broker forget the session of a client.
func forgotten(t *testing.T, broker, id string) {
	t.Helper()
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(broker).SetClientID(id).SetCleanSession(true))
	token := client.Connect()
	require.True(t, token.WaitTimeout(10*time.Second))
	require.NoError(t, token.Error())
	client.Disconnect(100)
}
