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

// bareSubscriber listens at a broker and says when it has heard so many messages.
func bareSubscriber() {
	broker, want := os.Args[1], os.Args[2]
	n, err := strconv.ParseInt(want, 10, 64)
	if err != nil {
		panic(err)
	}
	var heard atomic.Int64
	done := make(chan struct{})
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(broker).SetClientID("bare"))
	client.Connect().Wait()
	client.Subscribe("cellar/#", 1, func(mqtt.Client, mqtt.Message) {
		if heard.Add(1) == n {
			close(done)
		}
	}).Wait()
	fmt.Println("listening")
	<-done
	fmt.Println("done")
	client.Disconnect(100)
}

// bare starts one, and gives a channel on which comes when it had heard all.
func bare(t *testing.T, broker string, messages int) <-chan time.Time {
	t.Helper()
	cmd := exec.Command(os.Args[0], broker, strconv.Itoa(messages))
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
