package broker

import (
	"errors"
	"log/slog"
	"net"
	"runtime/debug"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// errFault is how a connection ends on which the library failed.
var errFault = errors.New("a defect in reading its packets")

// reception is the library's listener, which runs each connection in a goroutine
// of its own, from the first packet to the last. The library's decoders fail on
// some packets that are cut short, such as a SUBSCRIBE of MQTT 5 that ends behind
// a filter; here that ends the connection, and not the daemon.
type reception struct {
	*listeners.Net
	server *mqtt.Server
	log    *slog.Logger
}

// Serve takes connections until it is closed.
func (r reception) Serve(establish listeners.EstablishFn) {
	r.Net.Serve(func(id string, conn net.Conn) (err error) {
		defer func() {
			if fault := recover(); fault != nil {
				r.log.Error("a client's packet broke its connection: please report this", "remote", conn.RemoteAddr(),
					"fault", fault, "stack", string(debug.Stack()))
				err = errors.Join(errFault, conn.Close())
				r.forget(conn)
			}
		}()
		return establish(id, conn)
	})
}

// forget takes a client whose session ends with its connection off the library's list, as the library itself would have
// done, had it come to the end. A session that outlives connections stays until it expires.
func (r reception) forget(conn net.Conn) {
	for _, client := range r.server.Clients.GetAll() {
		if client.Net.Conn != conn {
			continue
		}
		p := client.Properties
		ends := p.ProtocolVersion == 5 && p.Props.SessionExpiryInterval == 0 || p.ProtocolVersion < 5 && p.Clean
		if ends && !client.IsTakenOver() {
			client.ClearInflights()
			r.server.UnsubscribeClient(client)
			r.server.Clients.Delete(client.ID)
		}
		return
	}
}
