package radio

import (
	"errors"
	"fmt"
	"time"
)

// Standard is a generation of IEEE 802.11. The zero value is not said.
type Standard string

// The standards whose rates are known here.
const (
	N  Standard = "n"  // HT
	AC Standard = "ac" // VHT
	AX Standard = "ax" // HE, one user on the whole channel
)

// ErrNoRate is returned, wrapped, for a combination that IEEE 802.11 does not
// define, such as 802.11n at 80 MHz.
var ErrNoRate = errors.New("no such rate in IEEE 802.11")

// mostStreams is what gear for houses has; the rules for MCS that do not exist
// are held up to here.
const mostStreams = 4

// Mode is how a radio talks.
type Mode struct {
	Standard Standard
	Streams  int           // 1 to 4; zero counts as one
	Guard    time.Duration // between symbols: n and ac 800 or 400 ns, ax 800, 1600 or 3200 ns; zero counts as 800 ns
}

// modulation is one MCS: coded bits a subcarrier, and the share of them that is data.
type modulation struct{ bits, data, coded int64 }

var modulations = [...]modulation{
	{1, 1, 2},  // BPSK 1/2
	{2, 1, 2},  // QPSK
	{2, 3, 4},  //
	{4, 1, 2},  // 16-QAM
	{4, 3, 4},  //
	{6, 2, 3},  // 64-QAM
	{6, 3, 4},  //
	{6, 5, 6},  //
	{8, 3, 4},  // 256-QAM, from 802.11ac
	{8, 5, 6},  //
	{10, 3, 4}, // 1024-QAM, from 802.11ax
	{10, 5, 6},
}

// timing is what a standard sends in one symbol.
type timing struct {
	subcarriers map[MHz]int64 // that carry data
	symbol      int64         // ns without the guard interval
	guards      []int64       // ns
	mcs         int           // highest
}

var timings = map[Standard]timing{
	N:  {map[MHz]int64{20: 52, 40: 108}, 3200, []int64{800, 400}, 7},
	AC: {map[MHz]int64{20: 52, 40: 108, 80: 234, 160: 468}, 3200, []int64{800, 400}, 9},
	AX: {map[MHz]int64{20: 234, 40: 468, 80: 980, 160: 1960}, 12800, []int64{800, 1600, 3200}, 11},
}

// Rate is the air rate, data subcarriers x bits x code rate x streams / symbol
// time, rounded to the bit. MCS counts within one stream, 0 to 7 (n; its running
// number counts on from stream to stream: 15 is 7 with two), 9 (ac) or 11 (ax).
// An air rate is no throughput: see Usable. Its error wraps ErrNoRate.
func (m Mode) Rate(mcs int, width MHz) (BitRate, error) {
	none := func(what string, v any) (BitRate, error) {
		return 0, fmt.Errorf("802.11%.4s %s %v: %w", string(m.Standard), what, v, ErrNoRate)
	}
	t, ok := timings[m.Standard]
	if !ok {
		return 0, fmt.Errorf("standard %.20q, want n, ac or ax: %w", string(m.Standard), ErrNoRate)
	}
	subcarriers, ok := t.subcarriers[width]
	if !ok {
		return none("at MHz", float64(width))
	}
	streams := int64(max(m.Streams, 1))
	if m.Streams < 0 || streams > mostStreams {
		return none("with streams", m.Streams)
	}
	if mcs < 0 || mcs > t.mcs {
		return none("with MCS", mcs)
	}
	if m.Standard == AC && vhtAbsent(mcs, width, streams) {
		return none(fmt.Sprintf("at %v MHz with %d streams and MCS", float64(width), streams), mcs)
	}
	guard := t.guards[0]
	if m.Guard != 0 {
		guard = 0
		for _, g := range t.guards {
			if m.Guard == time.Duration(g) {
				guard = g
			}
		}
		if guard == 0 {
			return none("with guard interval", m.Guard)
		}
	}
	mod := modulations[mcs]
	bits := subcarriers * mod.bits * mod.data * streams * int64(time.Second)
	per := mod.coded * (t.symbol + guard)
	return BitRate((bits + per/2) / per), nil
}

// vhtAbsent reports the MCS that 802.11ac leaves out, where a symbol would not
// hold a whole number of bits for each encoder. The published table has 20 MHz
// with one or two streams; the rest is as the Linux kernel's rate control
// leaves out (80 MHz) or from memory (160 MHz).
func vhtAbsent(mcs int, width MHz, streams int64) bool {
	switch {
	case width == 20 && mcs == 9:
		return streams != 3
	case width == 80 && mcs == 6, width == 160 && mcs == 9:
		return streams == 3
	}
	return false
}
