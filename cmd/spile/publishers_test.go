package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The publishers of a measurement: as little work as MQTT 3.1.1 allows, so that what is measured is who listens.
const (
	publishers = 4
	window     = 200 // messages of one publisher that wait for their PUBACK
)

// load is what is published: messages of three readings from some tanks, each a second after the one before of its tank.
type load struct {
	messages int
	tanks    int
	from     time.Time
	pace     int // messages a second, of all; 0: as fast as the broker takes them
}

// publish sends a load over some connections and gives when it began; it ends when every message is acknowledged.
func (l load) publish(t *testing.T, address string) (began time.Time) {
	t.Helper()
	began = time.Now()
	require.NoError(t, l.send(address))
	return began
}

// send is publish for a goroutine of its own.
func (l load) send(address string) error {
	var all sync.WaitGroup
	failures := make([]error, publishers)
	for i := range publishers {
		all.Go(func() { failures[i] = l.publisher(address, i) })
	}
	all.Wait()
	return errors.Join(failures...)
}

// publisher sends its share over one connection.
func (l load) publisher(address string, nth int) error {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }()
	name := fmt.Sprintf("load-%d", nth)
	hello := append([]byte{0x10, byte(12 + len(name)), 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 60, 0, byte(len(name))}, name...)
	if _, err := conn.Write(hello); err != nil {
		return err
	}
	in := bufio.NewReader(conn)
	if _, err := io.ReadFull(in, make([]byte, 4)); err != nil { // CONNACK
		return err
	}
	began, sent := time.Now(), 0
	var out []byte
	for n := nth; n < l.messages; n += publishers {
		out = l.appendPublish(out, n, uint16(sent%window+1))
		if sent++; sent%window != 0 && n+publishers < l.messages {
			continue
		}
		if _, err := conn.Write(out); err != nil {
			return err
		}
		acknowledged := (sent-1)%window + 1
		if _, err := io.ReadFull(in, make([]byte, 4*acknowledged)); err != nil { // a PUBACK each
			return err
		}
		out = out[:0]
		if l.pace > 0 {
			<-time.After(time.Until(began.Add(time.Duration(sent*publishers) * time.Second / time.Duration(l.pace))))
		}
	}
	return nil
}

// appendPublish writes message n as a PUBLISH at QoS 1: a payload of some 120 bytes.
func (l load) appendPublish(out []byte, n int, id uint16) []byte {
	topic := fmt.Sprintf("cellar/FV%d/all", n%l.tanks)
	at := l.from.Add(time.Duration(n/l.tanks) * time.Second)
	payload := fmt.Sprintf(`{"time":"%s","gravity":%.5f,"temperature":%.3f,"pressure":%.3f,"battery":3.912,"rssi":-61}`,
		at.Format(time.RFC3339), 1.0118+float64(n%3)*1e-5, 14.3+float64(n%50)/1000, 82+float64(n%70)/1000)
	length := 2 + len(topic) + 2 + len(payload)
	out = append(out, 0x32, byte(length%128|128), byte(length/128)) // between 128 and 16383 bytes
	out = binary.BigEndian.AppendUint16(out, uint16(len(topic)))
	out = append(out, topic...)
	out = binary.BigEndian.AppendUint16(out, id)
	return append(out, payload...)
}
