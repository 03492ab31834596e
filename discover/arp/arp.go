// Package arp finds what answers on an attached IPv4 network by ARP (RFC 826).
//
// Sweep asks for every address of a prefix, paced, and keeps every sender that
// answers. Listen only hears. Where the right to open a raw socket is missing
// (both return an error that matches os.ErrPermission), Wake makes the kernel
// ask and reads what it learned, which sees less.
//
// Requests carry the interface's own address. There are no ARP probes (sender
// 0.0.0.0): a host that is choosing an address must take another's probe for
// it as a conflict (RFC 5227, section 2.1.1) and may give up its lease.
package arp

import (
	"errors"
	"net/netip"
	"time"
)

// ErrNotRun is returned when the network could not be looked at: the interface
// is missing, down, without carrier or without an address in the prefix, or it
// was lost on the way. Nothing may be called absent after it.
var ErrNotRun = errors.New("not run")

// A Reply is one sender: an address together with the MAC that claims it.
// Several replies may share an address, or a MAC.
type Reply struct {
	// Addr is the sender's IPv4 address. It is the zero Addr for an ARP
	// probe, whose sender has no address yet.
	Addr netip.Addr

	// MAC is the sender's hardware address as ARP states it.
	MAC [6]byte

	// EthernetSource is where the frame itself came from. It differs from MAC
	// behind some bridges and radios.
	EthernetSource [6]byte

	// Seen and Last are when the first and the last frame came.
	Seen, Last time.Time

	// Tries counts the requests for Addr that this sender answered: two or
	// more mean that it is no leftover. Zero means that it was heard unasked.
	Tries int
}

// Options say how to sweep. Only Prefix is required.
type Options struct {
	// Prefix is the IPv4 network to ask, at most a /16. Its network and
	// broadcast addresses are left out, and so are those of the interface.
	Prefix netip.Prefix

	// Skip lists addresses that are never asked.
	Skip []netip.Addr

	// Planned lists addresses that are asked twice, and a third time where
	// nothing or more than one MAC answered. All others are asked once.
	// Those outside Prefix are ignored.
	Planned []netip.Addr

	// LeaveAlone lists addresses that are asked at most once, planned or not.
	// Wake does not touch them.
	LeaveAlone []netip.Addr

	// Ignore lists networks whose senders are kept apart, for privacy.
	Ignore []netip.Prefix

	// Rate is in requests a second; zero means 20.
	Rate int

	// Gap is the least time between two requests for one address. RFC 1122,
	// section 2.3.2.1 asks for one second, which is the default and the least.
	Gap time.Duration

	// Window is how long to listen after the last request; one second is the
	// default and the least. Wake needs and takes at least seven.
	Window time.Duration

	// Wait is how long to wait for the interface and its address to appear.
	// Zero does not wait.
	Wait time.Duration

	// MaxReplies bounds the senders that are kept. Zero means two for each
	// address of Prefix, plus 1,024.
	MaxReplies int

	// Progress, if set, is told after each request how many of about how many
	// are sent. It must return quickly.
	Progress func(sent, total int)
}

// A Result is what a sweep or a listener saw. The caller owns it.
type Result struct {
	// Sender is the address that the requests carried.
	Sender netip.Addr

	// Replies are the answers to our requests, ordered by address, then MAC.
	Replies []Reply

	// Heard are senders outside of that: other hosts' requests,
	// announcements, probes, and answers to what was not asked, in the same
	// order. They may have addresses of any network.
	Heard []Reply

	// Apart are senders of Options.Ignore, with the address that told so, at
	// most 4,096 of them: to leave out what other sources know of the same
	// MACs, and never to be stored.
	Apart []Reply

	// NotAsked lists the addresses of the prefix that should have been asked
	// and were not.
	NotAsked []netip.Addr

	Sent       int // requests sent
	Malformed  int // frames that are no valid ARP for IPv4 over Ethernet
	Mismatched int // frames whose Ethernet source is not the ARP sender
	Ignored    int // frames of Options.Ignore
	Overflow   int // frames not kept since a bound was reached
	Drops      int // frames that the kernel threw away before we read them

	// Complete is true if every address was asked and nothing was lost. Why
	// says what is missing otherwise.
	Complete bool
	Why      string
}

const (
	defaultRate   = 20          // scheduled sweeps; a broadcast costs a radio dearly
	leastGap      = time.Second // RFC 1122, section 2.3.2.1
	leastWindow   = time.Second
	mostTries     = 3
	largestPrefix = 16 // bits: 65,534 addresses

	// mostMACs bounds the senders kept for one address, so that one liar
	// cannot crowd out the other addresses. Two already make a conflict.
	mostMACs = 8

	// mostHeard bounds the senders heard unasked.
	mostHeard = 4096

	receiveBuffer = 8 << 20 // bytes; the default lost replies at 20,000 a second
)
