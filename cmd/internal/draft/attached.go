package draft

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"fmt"
	"net"
	"net/netip"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"boundwalk/inventory"
)

// widest is the largest network that is looked into unasked: at 100 requests
// a second a /20 takes 41 s.
const widest = 20

// Attached lists the networks of this machine's interfaces, each once, with
// the gateway that its routes name. Notes say what was left out.
func Attached() (nets []inventory.Network, notes []string, err error) {
	ifs, err := net.Interfaces()
	if err != nil {
		return nil, nil, fmt.Errorf("this machine's interfaces: %w", err)
	}
	gateways := defaultRoutes()
	for _, i := range ifs {
		if i.Flags&net.FlagLoopback != 0 || i.Flags&net.FlagUp == 0 || len(i.HardwareAddr) != 6 {
			continue
		}
		addrs, err := i.Addrs()
		if err != nil {
			return nil, nil, fmt.Errorf("addresses of %s: %w", i.Name, err)
		}
		for _, a := range addrs {
			p, err := netip.ParsePrefix(a.String())
			if err != nil || !p.Addr().Is4() || p.Addr().IsLinkLocalUnicast() || p.Bits() > 30 {
				continue
			}
			if p.Bits() < widest {
				notes = append(notes, fmt.Sprintf("%s on %s is too wide to look into unasked: name the part that is yours with --network NAME=SUBNET", p.Masked(), i.Name))
				continue
			}
			n := inventory.Network{Name: ifaceName(i.Name), Subnet: p.Masked(), VLAN: vlanOf(i.Name), Unknown: inventory.UnknownWarning}
			for _, g := range gateways[i.Name] {
				if n.Subnet.Contains(g) {
					n.Gateway = g
				}
			}
			if !slices.ContainsFunc(nets, func(o inventory.Network) bool { return o.Subnet.Overlaps(n.Subnet) }) {
				nets = append(nets, n)
			}
		}
	}
	slices.SortFunc(nets, func(a, b inventory.Network) int { return a.Subnet.Addr().Compare(b.Subnet.Addr()) })
	unique(nets)
	return nets, notes, nil
}

func ifaceName(s string) string { return cmp.Or(slug(strings.ReplaceAll(s, ".", "-")), "net") }

func unique(nets []inventory.Network) {
	seen := map[string]int{}
	for i := range nets {
		seen[nets[i].Name]++
		if k := seen[nets[i].Name]; k > 1 {
			nets[i].Name += "-" + strconv.Itoa(k)
		}
	}
}

var vlanName = regexp.MustCompile(`(?:\.|vlan)([0-9]{1,4})$`)

// vlanOf reads the VLAN off an interface's name, as in eth0.20 or vlan20; 0: it has none.
func vlanOf(iface string) int {
	if m := vlanName.FindStringSubmatch(iface); m != nil {
		if n, err := strconv.Atoi(m[1]); err == nil && n >= 1 && n <= 4094 {
			return n
		}
	}
	return 0
}

// defaultRoutes are the gateways of each interface, as Linux lists its routes; elsewhere none.
func defaultRoutes() map[string][]netip.Addr {
	f, err := os.Open("/proc/net/route")
	if err != nil {
		return nil // no such list on this system: the gateway is then left out
	}
	defer f.Close()
	out := map[string][]netip.Addr{}
	for s := bufio.NewScanner(f); s.Scan(); {
		w := strings.Fields(s.Text())
		if len(w) < 3 || w[1] != "00000000" {
			continue
		}
		if v, err := strconv.ParseUint(w[2], 16, 32); err == nil {
			var b [4]byte
			binary.NativeEndian.PutUint32(b[:], uint32(v)) // the kernel prints the address as a number of its own order
			out[w[0]] = append(out[w[0]], netip.AddrFrom4(b))
		}
	}
	return out
}
