package ternquay

import (
	"strconv"
	"time"

	"boundwalk/discover/simnet"
)

// Columns of IF-MIB that count while the agent runs.
const (
	ifInOctets    = "1.3.6.1.2.1.2.2.1.10"
	ifOutOctets   = "1.3.6.1.2.1.2.2.1.16"
	ifHCInOctets  = "1.3.6.1.2.1.31.1.1.1.6"
	ifHCOutOctets = "1.3.6.1.2.1.31.1.1.1.10"
)

// meter is what a port has counted when its traffic changed last.
type meter struct {
	at      time.Duration // of the agent's uptime
	in, out float64       // octets
	flow    flow
}

// count goes on counting with the traffic of the world now, and gives the rows
// that do.
func (n *node) count(w *world, b *box, now time.Time) []simnet.Row {
	p := w.panels[b.name]
	up := now.Sub(n.started)
	flows := w.traffic(b)
	var out []simnet.Row
	for k := 1; k <= p.ports; k++ {
		m, had := n.meters[k]
		if !had {
			m.flow = flows[k] // it was so since the agent started
		}
		m.in, m.out = octets(m.in, m.flow.in, up-m.at), octets(m.out, m.flow.out, up-m.at)
		m.at, m.flow = up, flows[k]
		n.meters[k] = m
		index := "." + strconv.Itoa(int(p.ifIndex(k)))
		in := func(now time.Duration) uint64 { return uint64(octets(m.in, m.flow.in, now-m.at)) }
		sent := func(now time.Duration) uint64 { return uint64(octets(m.out, m.flow.out, now-m.at)) }
		out = append(out,
			simnet.Row{OID: ifInOctets + index, Value: narrow(in)}, simnet.Row{OID: ifHCInOctets + index, Value: wide(in)},
			simnet.Row{OID: ifOutOctets + index, Value: narrow(sent)}, simnet.Row{OID: ifHCOutOctets + index, Value: wide(sent)})
	}
	return out
}

func octets(had, bits float64, span time.Duration) float64 {
	return had + bits/8*max(0, span.Seconds())
}

func wide(count func(time.Duration) uint64) simnet.Value {
	return simnet.Computed(func(up time.Duration) simnet.Value { return simnet.Counter64(count(up)) })
}

// narrow is the low half of a count.
func narrow(count func(time.Duration) uint64) simnet.Value {
	return simnet.Computed(func(up time.Duration) simnet.Value { return simnet.Counter32(uint32(count(up))) })
}
