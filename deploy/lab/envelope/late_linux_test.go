package envelope

import "testing"

// Only an agent's own answer goes back to it: nobody else's, and from no other port.
func TestLateAnswer(t *testing.T) {
	unreachable := func(code, from, port byte) frame {
		b := make([]byte, 14+20+8+20+8)
		b[12], b[13] = 8, 0 // IPv4
		ip := func(b []byte, total, proto, src, dst byte) {
			b[0], b[3], b[9] = 0x45, total, proto
			copy(b[12:], []byte{203, 0, 113, src, 203, 0, 113, dst})
		}
		ip(b[14:], 56, icmp4, 9, 2)
		b[34], b[35] = 3, code
		ip(b[42:], 28, udp, from, 9)
		b[63] = port
		return decode("eth0", b)
	}
	for name, c := range map[string]struct {
		f    frame
		want bool
	}{
		"an agent's":          {unreachable(3, 2, 161), true},
		"another's":           {unreachable(3, 3, 161), false},
		"of another port":     {unreachable(3, 2, 80), false},
		"host unreachable":    {unreachable(1, 2, 161), false},
		"nothing is returned": {decode("eth0", unreachable(3, 2, 161).raw[:44]), false},
	} {
		if got := c.f.lateAnswer(); got != c.want {
			t.Errorf("%s: %v in %s", name, got, c.f)
		}
	}
}
