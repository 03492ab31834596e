package inventory

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
)

// isPhysical reports whether the interface is a port that a cable goes into
// (RFC 2863 ifConnectorPresent; IANAifType, with the three types that old
// agents still send for Ethernet, and the two that a recorded media converter
// sends: fibreChannel(56) for its fibre, regular1822(2), the long dead ARPANET, for copper).
func isPhysical(i Interface) bool {
	if i.Connector != nil && !*i.Connector {
		return false
	}
	return slices.Contains([]int{2, 6, 7, 56, 62, 69, 117}, i.Type)
}

// portNames gives each interface of an agent a key that survives a restart:
// its name, else its description, else its address; with its number behind it
// where that is shared, since names need not be unique.
func portNames(ifs []Interface) map[IfIndex]string {
	base := func(i Interface) string {
		switch {
		case Clean(i.Name) != "":
			return Clean(i.Name)
		case Clean(i.Descr) != "":
			return Clean(i.Descr)
		case i.MAC.IsValid():
			return i.MAC.String()
		}
		return ""
	}
	seen := map[string]int{}
	for _, i := range ifs {
		seen[base(i)]++
	}
	names := make(map[IfIndex]string, len(ifs))
	for _, i := range ifs {
		n := base(i)
		if n == "" || seen[n] > 1 {
			n = strings.TrimSpace(n + " #" + strconv.Itoa(int(i.Index)))
		}
		names[i.Index] = n
	}
	return names
}

// portLabels gives each physical port the label that people use: the plan's
// own name for it where one equals the interface's, else the number at the end
// of the name where that is unique among the ports of the largest family of
// names (gi1 to gi8 beside te1 and te2), else the whole name. Named are the ports that the
// plan speaks of; where it writes whole names, so do all labels of that switch.
func portLabels(ifs []Interface, names, family map[IfIndex]string, d *Device, named map[string]bool) map[IfIndex]string {
	labels := make(map[IfIndex]string, len(ifs))
	wanted := planLabels(d)
	taken := map[string]bool{}
	whole := false
	for _, i := range ifs {
		n := names[i.Index]
		if wanted[PortName(n)] || named[PortName(n)] {
			labels[i.Index] = n
			taken[PortName(n)] = true
			whole = whole || named[PortName(n)] && n != family[i.Index]
		}
	}
	if whole && wanted == nil {
		family = nil
	}
	for _, i := range ifs {
		if labels[i.Index] != "" {
			continue
		}
		n := names[i.Index]
		if k, ok := family[i.Index]; ok && !taken[k] && (wanted == nil || wanted[k]) {
			n = k
		}
		labels[i.Index] = n
		taken[PortName(n)] = true
	}
	return labels
}

// planLabels is the set of labels that the plan knows on d; nil: it says nothing of its ports.
func planLabels(d *Device) map[string]bool {
	if d == nil || (d.Ports == 0 && len(d.PortPlans) == 0) {
		return nil
	}
	set := map[string]bool{}
	for k := 1; k <= d.Ports; k++ {
		set[strconv.Itoa(k)] = true
	}
	for _, p := range d.PortPlans {
		set[PortName(p.Port)] = true
	}
	return set
}

// numberedFamily finds the largest family of physical ports whose names differ
// in their last number alone, and gives those numbers; empty where two
// families are equally large.
func numberedFamily(ifs []Interface, names map[IfIndex]string) map[IfIndex]string {
	families := map[string]map[IfIndex]string{}
	for _, i := range ifs {
		if !isPhysical(i) {
			continue
		}
		stem, num := splitNumber(names[i.Index])
		if num == "" {
			continue
		}
		if families[stem] == nil {
			families[stem] = map[IfIndex]string{}
		}
		families[stem][i.Index] = num
	}
	var best map[IfIndex]string
	tie := false
	for _, f := range families {
		switch cmp.Compare(len(f), len(best)) {
		case 1:
			best, tie = f, false
		case 0:
			tie = true
		}
	}
	if tie {
		return nil
	}
	return best
}

// splitNumber cuts the decimal number off the end of a name: "Gi1/0/5" is
// "Gi1/0/" and "5". Leading zeros go.
func splitNumber(s string) (stem, num string) {
	stem = strings.TrimRight(s, "0123456789")
	num = strings.TrimLeft(s[len(stem):], "0")
	if num == "" && len(stem) < len(s) {
		num = "0"
	}
	return stem, num
}
