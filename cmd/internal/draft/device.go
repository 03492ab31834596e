package draft

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"unicode"

	"boundwalk/inventory"
)

// mostMACs is how many addresses of one box are worth a line: a switch with one
// for each port is known by its agent.
const mostMACs = 4

// devices turns what was seen into entries. Devices that were only planned, and
// what is known by an address alone in a network that only counts, are none.
func (m *drafter) devices() {
	m.seen = map[string]string{}
	planned := m.plan.Devices
	m.plan.Devices = nil
	for i := range m.snap.Devices {
		s := &m.snap.Devices[i]
		if !s.Planned && len(s.MACs) == 0 && len(s.Addrs) == 0 {
			continue
		}
		var d inventory.Device
		if s.Planned {
			if k := slices.IndexFunc(planned, func(d inventory.Device) bool { return d.Name == s.Name }); k >= 0 {
				d = planned[k]
			}
		}
		m.fill(&d, s)
		m.seen[d.Name] = s.Name
		m.plan.Devices = append(m.plan.Devices, d)
	}
}

// fill says of a device what it is, and what of that is a guess.
func (m *drafter) fill(d *inventory.Device, s *inventory.SeenDevice) {
	role, why := s.Role, s.RoleWhy
	if d.Role == inventory.Router {
		role, why = d.Role, []string{"it has an address in several networks, or is a gateway"}
	}
	if role == "" && m.isGateway(s) {
		role, why = inventory.Router, []string{"it has the gateway's address"}
	}
	if role == "" && s.Self {
		role, why = inventory.Server, []string{"it is the machine that boundwalk runs on"}
	}
	was, known := m.before(s.MACs...)
	if role == "" && known.Role != "" {
		role, why = known.Role, []string{"the logbook has it so"}
	}
	if role == "" {
		role, why = roleByWords(s.Product, m.describes(d.Name))
	}
	if role == "" && s.Private {
		role, why = inventory.Phone, []string{"its MAC address is a made-up one, as of a phone, and may change"}
	}
	if d.Name == "" {
		d.Name = m.name(cmp.Or(was, slug(s.Hostname), m.byKind(role, s)))
	}
	d.Role = role
	switch {
	case role == "":
		m.check(d.Name, "role", "nothing tells what it is%s", with(s))
	case len(why) > 0:
		m.check(d.Name, "role", "guessed: %s", strings.Join(why, "; "))
	}
	d.MACs = m.macs(d, s)
	d.Addresses = m.addresses(d, s)
	if d.Agent.IsValid() && d.Agent.Addr() == d.Address() {
		if a, ok := m.plan.AccessNamed(d.Access); ok && a.Port == d.Agent.Port() {
			d.Agent = netip.AddrPort{} // that is where it would be asked anyway
		}
	}
	d.Maker, d.Serial = s.Maker, s.Serial
	if s.MakerBy == "registry" {
		d.Maker = "" // what the MAC address tells need not stand in the plan
	}
	d.Product = s.Product
	for _, x := range m.snap.Shared {
		if slices.ContainsFunc(d.Addresses, func(a netip.Addr) bool { return a == x.Addr }) {
			m.check(d.Name, "address", "%d devices answer for it", len(x.MACs))
		}
	}
}

// roleWords are what makers call things, in the words by which a model or
// sysDescr (RFC 3418) names itself.
var roleWords = []struct {
	word string
	role inventory.Role
}{
	{"camera", inventory.Camera}, {"nvr", inventory.Recorder}, {"dvr", inventory.Recorder}, {"recorder", inventory.Recorder}, {"printer", inventory.Printer},
	{"access point", inventory.AccessPoint}, {"radio", inventory.Radio}, {"ups", inventory.UPS}, {"server", inventory.Server},
}

// roleByWords guesses by what a device calls itself.
func roleByWords(texts ...string) (inventory.Role, []string) {
	for _, text := range texts {
		words := " " + strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsNumber(r) }), " ") + " "
		for _, w := range roleWords {
			if strings.Contains(words, " "+w.word+" ") {
				return w.role, []string{fmt.Sprintf("it calls itself %q", text)}
			}
		}
	}
	return "", nil
}

// describes is the sysDescr of a device's agent.
func (m *drafter) describes(name string) string {
	for i := range m.ev.Agents {
		if a := &m.ev.Agents[i]; a.Device == name && name != "" {
			return inventory.Clean(a.System.Descr)
		}
	}
	return ""
}

// with says whose the MAC address is, where that is all that is known.
func with(s *inventory.SeenDevice) string {
	if s.MakerBy != "registry" {
		return ""
	}
	return "; its MAC address is of " + s.Maker
}

func (m *drafter) isGateway(s *inventory.SeenDevice) bool {
	return slices.ContainsFunc(m.plan.Networks, func(n inventory.Network) bool {
		return n.Gateway.IsValid() && slices.Contains(s.Addrs, n.Gateway)
	})
}

// macs are those by which others know the device.
func (m *drafter) macs(d *inventory.Device, s *inventory.SeenDevice) []inventory.MAC {
	if len(s.MACs) <= mostMACs {
		return slices.Clone(s.MACs)
	}
	var out []inventory.MAC
	for _, x := range m.ev.Sightings {
		if x.Addr.IsValid() && slices.Contains(s.Addrs, x.Addr) && slices.Contains(s.MACs, x.MAC) && !slices.Contains(out, x.MAC) {
			out = append(out, x.MAC)
		}
	}
	for i := range m.ev.Agents {
		if a := &m.ev.Agents[i]; a.Device == d.Name && a.BridgeMAC.IsValid() && !slices.Contains(out, a.BridgeMAC) && slices.Contains(s.MACs, a.BridgeMAC) {
			out = append(out, a.BridgeMAC)
		}
	}
	slices.SortFunc(out, inventory.MAC.Compare)
	if len(out) == 0 {
		out = slices.Clone(s.MACs[:1])
	}
	return out[:min(len(out), mostMACs)]
}

// addresses are those in the plan's networks; of IPv6 only where there is no
// other, since most of those change.
func (m *drafter) addresses(d *inventory.Device, s *inventory.SeenDevice) []netip.Addr {
	var out []netip.Addr
	for _, v4 := range []bool{true, false} {
		for _, a := range slices.Concat(d.Addresses, s.Addrs) {
			n, ok := m.plan.NetworkOf(a)
			taken := slices.ContainsFunc(m.plan.Devices, func(o inventory.Device) bool { return slices.Contains(o.Addresses, a) })
			if ok && a.Is4() == v4 && !taken && !slices.Contains(out, a) && (n.Unknown != inventory.UnknownCount || d.Role == inventory.Router) {
				out = append(out, a)
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return out
}

// before is what the logbook's plan called the owner of one of the addresses, and
// what it had of it.
func (m *drafter) before(macs ...inventory.MAC) (string, inventory.SeenDevice) {
	if m.past.Last == nil {
		return "", inventory.SeenDevice{}
	}
	for _, mac := range macs {
		for _, d := range m.past.Last.Devices {
			if d.Planned && mac.IsValid() && slices.Contains(d.MACs, mac) {
				if m.names[d.Name] {
					return "", d
				}
				return d.Name, d
			}
		}
	}
	return "", inventory.SeenDevice{}
}

// byKind makes a name of the role and the end of an address, which stays the
// same from draft to draft.
func (m *drafter) byKind(role inventory.Role, s *inventory.SeenDevice) string {
	kind := cmp.Or(string(role), "device")
	if len(s.MACs) > 0 {
		x := s.MACs[0]
		return fmt.Sprintf("%s-%02x%02x%02x", kind, x[3], x[4], x[5])
	}
	if len(s.Addrs) > 0 {
		return kind + "-" + strings.ReplaceAll(s.Addrs[0].String(), ":", "-")
	}
	return kind
}

// slug makes a plan's name of what a device calls itself: its first label, in
// lower case, with dashes for all that a name may not hold.
func slug(s string) string {
	s, _, _ = strings.Cut(strings.ToLower(strings.TrimSpace(s)), ".")
	var b strings.Builder
	for _, r := range s {
		switch {
		case unicode.IsLetter(r) || unicode.IsNumber(r) && unicode.IsDigit(r) || r == '_' && b.Len() > 0:
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	out := []rune(strings.Trim(b.String(), "-_"))
	return strings.TrimRight(string(out[:min(len(out), 40)]), "-_")
}

// mostName leaves room, in the 63 characters of a name, for a number behind it.
const mostName = 56

// name makes a name the only one.
func (m *drafter) name(want string) string {
	if r := []rune(want); len(r) > mostName {
		want = string(r[:mostName])
	}
	n := want
	for i := 2; m.names[n]; i++ {
		n = fmt.Sprintf("%s-%d", want, i)
	}
	m.names[n] = true
	return n
}

// Name is a name for a device that no plan has: what it calls itself, else its
// role and the end of its address, made the only one in the plan.
func Name(plan *inventory.Plan, s *inventory.SeenDevice) string {
	m := &drafter{names: map[string]bool{}}
	for _, d := range plan.Devices {
		m.names[d.Name] = true
	}
	return m.name(cmp.Or(slug(s.Hostname), m.byKind(s.Role, s)))
}
