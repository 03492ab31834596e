package snmp

import (
	"net/netip"
	"testing"
	"time"
)

// A context that was cancelled at the end of one call may move the deadline in
// the middle of the next, which must go on waiting.
func TestStaleDeadline(t *testing.T) {
	waiting := make(chan *session, 1)
	addr := agentFunc(t, func(q []byte) []byte {
		if err := (<-waiting).conn.SetReadDeadline(time.Unix(1, 0)); err != nil {
			t.Error(err)
		}
		return answerTo(q, 0, 0, tlv(0x30, 6, 8, 0x2b, 6, 1, 2, 1, 1, 3, 0, 0x43, 1, 7))
	})
	s, err := openSession(addr, false, &device{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.conn.Close()
	waiting <- s
	p, err := s.ping(t.Context(), publicWire, 1, time.Minute)
	if err != nil || len(p.Variables) != 1 || valueOf(p.Variables[0]) != ValueOf(TimeTicks, 7) {
		t.Errorf("got %v, %v", p, err)
	}
	if st := s.device.stats; st != (Stats{Requests: 1, AnsweredFrom: netip.Addr{}}) {
		t.Errorf("got %+v", st)
	}
}
