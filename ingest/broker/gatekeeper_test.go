package broker

import (
	"testing"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest"
)

// as makes a CONNECT one of a user.
func as(user string) func(*packets.Packet) {
	return func(pk *packets.Packet) {
		pk.Connect.UsernameFlag, pk.Connect.PasswordFlag = true, true
		pk.Connect.Username, pk.Connect.Password = []byte(user), []byte("hop-1")
	}
}

func TestAUserIsKeptToItsTanks(t *testing.T) {
	d, err := ingest.NewDecoder(ingest.DecoderOptions{Sources: []ingest.Source{{Topic: "plant/{probe}/{tank}"}}})
	require.NoError(t, err)
	e := &ear{}
	b := start(t, Options{Intake: e, TankOf: d.Tank, Credentials: []Credential{
		{Username: "hyd-1", Password: "hop-1", Tanks: []string{"FV1", "FV2"}}, {Username: "office", Password: "hop-1"},
	}})
	own := []string{"cellar/FV1/hyd-1", "cellar/FV2/log", "cellar/FV1/hyd-1/gravity", "plant/x/FV2"}
	foreign := []string{"cellar/FV3/hyd-1", "plant/FV1/FV3", "elsewhere", "cellar/FV1", "cellar/FV10/hyd-1"}
	probe := connect(t, b, "probe", as("hyd-1"))
	for _, topic := range own {
		probe.publish(topic, "1.01", 1)
		probe.next(packets.Puback)
	}
	for _, topic := range foreign {
		stranger := connect(t, b, "stranger", as("hyd-1"))
		stranger.publish(topic, "1.01", 1)
		stranger.next(packets.Disconnect) // the library sends one, whatever the version
		stranger.ends()
	}
	assert.Len(t, e.messages(), len(own), "nothing of other tanks is heard")
	office := connect(t, b, "office", as("office"))
	office.publish("cellar/FV3/hyd-1", "1.01", 1)
	office.next(packets.Puback)
}

func TestAUserHearsOfItsTanksOnly(t *testing.T) {
	d, err := ingest.NewDecoder(ingest.DecoderOptions{})
	require.NoError(t, err)
	g := newGatekeeper(Options{TankOf: d.Tank, Credentials: []Credential{{Username: "hyd-1", Tanks: []string{"FV1"}}}})
	b := start(t, Options{Intake: &ear{}})
	c := b.server.NewClient(nil, "local", "probe", true)
	c.Properties.Username = []byte("hyd-1")
	for filter, may := range map[string]bool{
		"cellar/FV1/#": true, "cellar/FV1/+": true, "cellar/#": false, "#": false, "cellar/+/hyd-1": false, "cellar/FV2/hyd-1": false, "$SYS/#": false,
	} {
		assert.Equal(t, may, g.OnACLCheck(c, filter, false), filter)
	}
}
