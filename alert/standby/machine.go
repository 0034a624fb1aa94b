package standby

import "time"

// Role is which of the two a spile is.
type Role string

// The two roles. The first speaks whenever it can.
const (
	First  Role = "first"
	Second Role = "second"
)

// Other is the other role.
func (r Role) Other() Role {
	if r == First {
		return Second
	}
	return First
}

// Lease is the right to speak. The highest number counts, and of two claims of
// one number the first's.
type Lease struct {
	Number uint64 `json:"lease"`
	Holder Role   `json:"holder"`
}

// beats tells whether a lease counts more than another.
func (l Lease) beats(other Lease) bool {
	if l.Number != other.Number {
		return l.Number > other.Number
	}
	return l.Holder == First && other.Holder == Second
}

// highest is the highest number that a claim is taken by: the next one must be a
// number too, and one that JSON carries whole (RFC 8259, section 6).
const highest = 1 << 53

// valid refuses a lease that no spile claims.
func (l Lease) valid() bool {
	return l.Number > 0 && l.Number < highest && (l.Holder == First || l.Holder == Second)
}

// yieldWithin is how long the one that claims waits for the other to hand over.
// Calls under way there have as long to end.
const yieldWithin = 5 * time.Second

// machine decides who speaks. It is told what happens with a time that never
// goes back, and asks no clock.
type machine struct {
	role  Role
	after time.Duration // of the other's silence, until the second speaks

	linked bool
	turned time.Time // when linked last changed, or the machine began
	heard  time.Time // the other's newest sign of life
	gone   bool      // the broker says that the other is gone
	goneAt time.Time

	lease    Lease     // the highest that was seen
	claimed  time.Time // when this one claimed it
	handed   uint64    // the newest lease under which the other handed over
	renewed  bool      // claimed on this connection
	speaking bool
}

func newMachine(role Role, after time.Duration, at time.Time) *machine {
	return &machine{role: role, after: after, turned: at, heard: at}
}

// link notes that the broker was found or lost. Found means that all it had
// kept has been heard.
func (m *machine) link(up bool, at time.Time) {
	if m.linked == up {
		return
	}
	m.linked, m.turned, m.renewed = up, at, false
}

// thaw notes that this one stood still for a while. What it knew counts for
// nothing: it is silent until it has found out who speaks.
func (m *machine) thaw(at time.Time) {
	m.linked, m.renewed, m.speaking = false, false, false
	m.turned, m.heard = at, at
}

// alive notes a sign of life of the other.
func (m *machine) alive(at time.Time) { m.heard, m.gone = at, false }

// lost notes that the broker says the other is gone.
func (m *machine) lost(at time.Time) {
	if !m.gone {
		m.gone, m.goneAt = true, at
	}
}

// see notes a lease that somebody claims.
func (m *machine) see(l Lease) {
	if l.valid() && l.beats(m.lease) {
		m.lease = l
	}
}

// hand notes that the other has handed over under a lease.
func (m *machine) hand(lease uint64) { m.handed = max(m.handed, lease) }

// holds tells whether the lease is this one's.
func (m *machine) holds() bool { return m.lease.Number > 0 && m.lease.Holder == m.role }

// absent tells whether the other has been silent for long enough, of which this
// one could have heard it for a part. Word from the broker that it is gone makes
// it sure sooner, but not at once: it may only have lost its way for a moment.
func (m *machine) absent(at time.Time) bool {
	silent := at.Sub(m.heard) >= m.after || m.gone && at.Sub(m.goneAt) >= m.after/2
	return silent && at.Sub(m.turned) >= m.after/2
}

// tick looks at the clock. It gives a lease to claim, where one is to be
// claimed, and tells whether this spile speaks.
func (m *machine) tick(at time.Time, caughtUp bool) (claim *Lease, speaks bool) {
	if !m.linked {
		// Nobody can know who speaks. Whoever did goes on; the other begins too.
		m.speaking = m.speaking || m.absent(at)
		return nil, m.speaking
	}
	m.speaking = m.speaking && m.holds()
	if m.wants(at, caughtUp) {
		m.lease = Lease{Number: m.lease.Number + 1, Holder: m.role}
		m.claimed, m.renewed = at, true
		l := m.lease
		claim = &l
	}
	m.speaking = m.holds() && m.renewed && (m.speaking || m.free(at))
	return claim, m.speaking
}

// wants tells whether this one should claim the lease now.
func (m *machine) wants(at time.Time, caughtUp bool) bool {
	if m.holds() {
		return !m.renewed && (caughtUp || m.speaking)
	}
	return m.absent(at) || m.role == First && caughtUp
}

// free tells whether nobody else speaks any more under an older lease.
func (m *machine) free(at time.Time) bool {
	return m.handed >= m.lease.Number || m.absent(at) || at.Sub(m.claimed) >= yieldWithin
}
