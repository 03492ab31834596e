package arp_test

import (
	"net/netip"
	"testing"

	"boundwalk/discover/arp"
)

func replies(mac byte, first, last int) []arp.Reply {
	var out []arp.Reply
	for i := first; i <= last; i++ {
		m := mac
		if m == 0 {
			m = byte(i)
		}
		out = append(out, arp.Reply{
			Addr:  netip.AddrFrom4([4]byte{192, 0, 2, byte(i)}),
			MAC:   [6]byte{0, 0, 0x5e, 0, 0x53, m},
			Tries: 1,
		})
	}
	return out
}

// FC-18, and the bounds around it.
func TestProxyARP(t *testing.T) {
	heard := replies(0xfe, 1, 30)
	for i := range heard {
		heard[i].Tries = 0
	}
	tests := map[string]struct {
		replies []arp.Reply
		swept   int
		want    int // addresses that one MAC answers for; 0: no proxy
	}{
		"a router answers for all but 20":            {append(replies(0, 1, 20), replies(0xfe, 21, 254)...), 254, 234},
		"an access point for 6 sleeping clients":     {append(replies(0, 1, 20), replies(0xfe, 21, 26)...), 254, 0},
		"8 addresses are allowed":                    {replies(0xfe, 1, 8), 254, 0},
		"9 are not":                                  {replies(0xfe, 1, 9), 254, 9},
		"more than a quarter of a /28":               {replies(0xfe, 1, 4), 14, 4},
		"a quarter of a /28":                         {replies(0xfe, 1, 3), 14, 0},
		"a /30 with one owner of both addresses":     {replies(0xfe, 1, 2), 2, 0},
		"what was heard unasked does not count":      {heard, 254, 0},
		"the same address twice counts once":         {append(replies(0xfe, 1, 8), replies(0xfe, 1, 8)...), 254, 0},
		"nothing answered":                           {nil, 254, 0},
		"twenty devices with one address each":       {replies(0, 1, 20), 254, 0},
		"a swept count of zero still has the bounds": {replies(0xfe, 1, 4), 0, 4},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got := arp.ProxyARP(test.replies, test.swept)
			if test.want == 0 {
				if len(got) != 0 {
					t.Errorf("got %+v, want no proxy", got)
				}
				return
			}
			if len(got) != 1 || got[0].MAC[5] != 0xfe || len(got[0].Addrs) != test.want {
				t.Errorf("got %+v, want one proxy for %d addresses", got, test.want)
			}
		})
	}
}
