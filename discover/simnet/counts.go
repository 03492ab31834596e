package simnet

import (
	"maps"

	"github.com/gosnmp/gosnmp"
)

// Counts tell what an agent received and did since it was made.
type Counts struct {
	Received int // datagrams
	Sent     int // datagrams, with those that Unsent counts
	Unsent   int // that the socket refused

	Get, GetNext, GetBulk int // requests, also those that were refused
	Set                   int // each of them refused
	Rows                  int // bindings answered

	Malformed  int // datagrams that are no request, cannot be decoded, or cannot be answered
	Strangers  int // requests under a community that is not the agent's
	Suppressed int // requests that a fault left unanswered after reading them

	Communities map[string]int // requests by the community they came with
	Users       map[string]int // requests of version 3 that were let in, by user
	Reports     map[string]int // reports of version 3, by OID with the final .0
}

// Counts are the counts so far. The maps are copies.
func (a *Agent) Counts() Counts {
	a.mu.Lock()
	defer a.mu.Unlock()
	c := a.counts
	c.Communities = maps.Clone(c.Communities)
	c.Users = maps.Clone(c.Users)
	c.Reports = maps.Clone(c.Reports)
	return c
}

func (a *Agent) count(f func(*Counts)) {
	a.mu.Lock()
	defer a.mu.Unlock()
	f(&a.counts)
}

func tally(m *map[string]int, key string) int {
	if *m == nil {
		*m = make(map[string]int)
	}
	(*m)[key]++
	return (*m)[key]
}

// countRequest counts q by its kind and reports whether it is a request at all.
func (a *Agent) countRequest(q *gosnmp.SnmpPacket) bool {
	known := true
	a.count(func(c *Counts) {
		switch q.PDUType {
		case gosnmp.GetRequest:
			c.Get++
		case gosnmp.GetNextRequest:
			c.GetNext++
		case gosnmp.GetBulkRequest:
			c.GetBulk++
		case gosnmp.SetRequest:
			c.Set++
		default:
			c.Malformed++
			known = false
		}
	})
	return known
}

func (a *Agent) malformed() {
	a.count(func(c *Counts) { c.Malformed++ })
}
