package dnssd

import (
	"cmp"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/miekg/dns"
)

const (
	enumeration    = "_services._dns-sd._udp.local." // RFC 6763, section 9
	mostRecords    = 512                             // kept of one device
	mostResponders = 1024
	mostText       = 64 // strings of one service
	mostAddrs      = 8  // of one service
)

// responder is what one address told. What it says of names that another one
// tells of as well stays its own.
type responder struct {
	instances map[string]bool // full names
	types     map[string]bool
	srv       map[string]*dns.SRV
	txt       map[string][]string
	addrs     map[string][]netip.Addr // by host
	seen      time.Time
}

// collector gathers records for each responder within its bounds. Its methods
// may be called at once.
type collector struct {
	within, ignore []netip.Prefix
	most           int

	mu     sync.Mutex
	from   map[netip.Addr]*responder
	counts Result // its counters only
}

func newCollector(within, ignore []netip.Prefix, most int) *collector {
	return &collector{within: within, ignore: ignore, most: most, from: make(map[netip.Addr]*responder)}
}

// add takes one datagram. Those from outside the link's networks are not
// believed (RFC 6762, section 11).
func (c *collector) add(b []byte, from netip.Addr, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	holds := func(p netip.Prefix) bool { return p.Contains(from) }
	if !slices.ContainsFunc(c.within, holds) {
		c.counts.Foreign++
		return
	}
	if slices.ContainsFunc(c.ignore, holds) {
		c.counts.Ignored++
		return
	}
	var m dns.Msg
	if err := m.Unpack(b); err != nil || !m.Response {
		c.counts.Malformed++
		return
	}
	r := c.from[from]
	if r == nil {
		if len(c.from) >= mostResponders {
			c.counts.Overflow++
			return
		}
		r = &responder{
			instances: make(map[string]bool),
			types:     make(map[string]bool),
			srv:       make(map[string]*dns.SRV),
			txt:       make(map[string][]string),
			addrs:     make(map[string][]netip.Addr),
			seen:      now,
		}
		c.from[from] = r
	}
	for _, section := range [][]dns.RR{m.Answer, m.Ns, m.Extra} {
		for _, rr := range section {
			if r.size() >= mostRecords {
				c.counts.Overflow++
				return
			}
			r.add(rr)
		}
	}
}

// add keeps a record. The top bit of the class means "flush the cache", and a
// TTL of zero is a goodbye (RFC 6762, sections 10.1 and 10.2).
func (r *responder) add(rr dns.RR) {
	h := rr.Header()
	if h.Class&0x7fff != dns.ClassINET || h.Ttl == 0 {
		return
	}
	name := strings.ToLower(h.Name)
	switch rr := rr.(type) {
	case *dns.PTR:
		if name == enumeration {
			if t := strings.ToLower(rr.Ptr); isType(t) {
				r.types[t] = true
			}
		} else if _, t := split(rr.Ptr); t != "" && t == name {
			r.instances[rr.Ptr] = true
		}
	case *dns.SRV:
		if _, t := split(h.Name); t != "" {
			r.srv[name] = rr
			r.instances[h.Name] = true
		}
	case *dns.TXT:
		r.txt[name] = rr.Txt[:min(len(rr.Txt), mostText)]
	case *dns.A:
		if a, ok := netip.AddrFromSlice(rr.A.To4()); ok {
			r.addAddr(name, a)
		}
	case *dns.AAAA:
		if a, ok := netip.AddrFromSlice(rr.AAAA); ok {
			r.addAddr(name, a)
		}
	}
}

// size is how many records are kept. The same one told again does not count.
func (r *responder) size() int {
	return len(r.types) + len(r.instances) + len(r.srv) + len(r.txt) + len(r.addrs)
}

func (r *responder) addAddr(host string, a netip.Addr) {
	if list := r.addrs[host]; len(list) < mostAddrs && !slices.Contains(list, a) {
		r.addrs[host] = append(list, a)
	}
}

// isType reports whether a name is that of a service type, as in RFC 6763,
// section 7: two labels with an underscore, the second _tcp or _udp, and local.
func isType(name string) bool {
	labels := dns.SplitDomainName(name)
	return len(labels) == 3 && strings.HasPrefix(labels[0], "_") && (labels[1] == "_tcp" || labels[1] == "_udp") && labels[2] == "local"
}

// split divides the full name of an instance into its first label and its type
// in lower case; both are empty where it is none.
func split(full string) (label, kind string) {
	labels := dns.SplitDomainName(full)
	if len(labels) != 4 {
		return "", ""
	}
	kind = strings.ToLower(strings.Join(labels[1:], ".") + ".")
	if !isType(kind) {
		return "", ""
	}
	return unescape(labels[0]), kind
}

// unescape undoes the \. and \032 of a name's text form (RFC 1035, section
// 5.1).
func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' || i+1 == len(s) {
			b.WriteByte(s[i])
			continue
		}
		if i+3 < len(s) && digits(s[i+1:i+4]) {
			b.WriteByte(byte(100*int(s[i+1]-'0') + 10*int(s[i+2]-'0') + int(s[i+3]-'0')))
			i += 3
			continue
		}
		i++
		b.WriteByte(s[i])
	}
	return b.String()
}

func digits(s string) bool {
	return strings.Trim(s, "0123456789") == ""
}

// typeQuestions asks for the instances of the types that were enumerated.
func (c *collector) typeQuestions() []dns.Question {
	return c.questions(func(r *responder, ask func(string, uint16)) {
		for t := range r.types {
			ask(t, dns.TypePTR)
		}
	})
}

// instanceQuestions asks for host, port and text where they were not told.
func (c *collector) instanceQuestions() []dns.Question {
	return c.questions(func(r *responder, ask func(string, uint16)) {
		for full := range r.instances {
			name := strings.ToLower(full)
			if r.srv[name] == nil {
				ask(full, dns.TypeSRV)
			}
			if _, ok := r.txt[name]; !ok {
				ask(full, dns.TypeTXT)
			}
		}
	})
}

// hostQuestions asks for addresses where they were not told.
func (c *collector) hostQuestions() []dns.Question {
	return c.questions(func(r *responder, ask func(string, uint16)) {
		for _, srv := range r.srv {
			if len(r.addrs[strings.ToLower(srv.Target)]) == 0 {
				ask(srv.Target, dns.TypeA)
			}
		}
	})
}

// questions collects what each responder gives rise to, in order, each once.
func (c *collector) questions(of func(r *responder, ask func(name string, qtype uint16))) []dns.Question {
	c.mu.Lock()
	defer c.mu.Unlock()
	var out []dns.Question
	for _, r := range c.from {
		of(r, func(name string, qtype uint16) {
			q := dns.Question{Name: name, Qtype: qtype, Qclass: dns.ClassINET}
			if _, err := (&dns.Msg{Question: []dns.Question{q}}).Pack(); err == nil { // a device may have made it up
				out = append(out, q)
			}
		})
	}
	slices.SortFunc(out, func(a, b dns.Question) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Qtype, b.Qtype))
	})
	return slices.Compact(out)
}

func (c *collector) result() Result {
	c.mu.Lock()
	defer c.mu.Unlock()
	out := c.counts
	for from, r := range c.from {
		for full := range r.instances {
			out.Services = append(out.Services, r.service(full, from))
		}
	}
	slices.SortFunc(out.Services, func(a, b Service) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.Type, b.Type), cmp.Compare(a.Instance, b.Instance))
	})
	out.Services = slices.CompactFunc(out.Services, func(a, b Service) bool {
		return a.From == b.From && a.Type == b.Type && strings.EqualFold(a.Instance, b.Instance)
	})
	if over := len(out.Services) - c.most; over > 0 {
		out.Overflow += over
		out.Services = out.Services[:c.most]
	}
	return out
}

func (r *responder) service(full string, from netip.Addr) Service {
	label, kind := split(full)
	name := strings.ToLower(full)
	s := Service{Instance: label, Type: strings.TrimSuffix(kind, ".local."), From: from, Seen: r.seen}
	for _, t := range r.txt[name] {
		if t = unescape(t); t != "" {
			s.Text = append(s.Text, t)
		}
	}
	if srv := r.srv[name]; srv != nil {
		s.Port = srv.Port
		s.Host = unescape(strings.TrimSuffix(srv.Target, "."))
		s.Addrs = slices.SortedFunc(slices.Values(r.addrs[strings.ToLower(srv.Target)]), netip.Addr.Compare)
	}
	return s
}
