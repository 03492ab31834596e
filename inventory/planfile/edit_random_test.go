package planfile_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net/netip"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// For random plans and random accepts, parse(edit(file)) is the plan
// that was meant, and every line that was not touched is unchanged.
func TestRandomEdits(t *testing.T) {
	rounds := 400
	if testing.Short() {
		rounds = 50
	}
	for seed := range rounds {
		rng := rand.New(rand.NewPCG(uint64(seed), 7))
		text := randomPlan(rng)
		f := parse(t, text)
		for range 4 {
			f = randomEdit(t, rng, f)
			if t.Failed() {
				t.Fatalf("seed %d\n%s", seed, text)
			}
		}
	}
}

var manyLines = regexp.MustCompile(`block of text|several lines`)

// randomEdit makes one to three changes, and works out apart from the package
// what the plan should be after them.
func randomEdit(t *testing.T, rng *rand.Rand, f *planfile.File) *planfile.File {
	want := *f.Plan
	want.Devices = slices.Clone(want.Devices)
	var changes []planfile.Change
	touched := map[string]bool{}
	for range 1 + rng.IntN(3) {
		i := 1 + rng.IntN(len(f.Plan.Devices)-1)
		if name := want.Devices[i].Name; !touched[name] {
			touched[name] = true
			changes = append(changes, randomChange(rng, &want, i)...)
		}
	}
	text, err := f.Edit(changes...)
	if errors.Is(err, planfile.ErrByHand) && manyLines.MatchString(err.Error()) && strings.Contains(err.Error(), "set room") {
		return f // the generator wrote a room over several lines
	}
	if err != nil {
		t.Errorf("%v: %v", changes, err)
		return f
	}
	after := parse(t, string(text))
	for i := range after.Plan.Devices {
		after.Plan.Devices[i].Line = 0
	}
	for i := range want.Devices {
		want.Devices[i].Line = 0
	}
	want.Index()
	if !reflect.DeepEqual(*after.Plan, want) {
		t.Errorf("%v: the plan is not what was meant\n%s", changes, text)
	}
	checkLines(t, changes, f, string(text), touched)
	return parse(t, string(text))
}

// randomChange is a change of device i, or a new device; want is changed alike.
func randomChange(rng *rand.Rand, want *inventory.Plan, i int) []planfile.Change {
	d, m := &want.Devices[i], randomMAC(rng)
	switch rng.IntN(6) {
	case 5:
		if len(d.MACs) == 0 {
			return nil
		}
		old := d.MACs[rng.IntN(len(d.MACs))]
		if d.MACs = slices.DeleteFunc(slices.Clone(d.MACs), func(m inventory.MAC) bool { return m == old }); len(d.MACs) == 0 {
			d.MACs = nil
		}
		return []planfile.Change{planfile.Remove(d.Name, "mac", old.String())}
	case 0:
		d.At = inventory.PortRef{Device: "hub", Port: fmt.Sprint(100 + rng.IntN(900_000))}
		return []planfile.Change{planfile.Set(d.Name, "at", d.At.String())}
	case 1:
		d.MACs = append(slices.Clone(d.MACs), m)
		return []planfile.Change{planfile.Append(d.Name, "mac", m.String())}
	case 2:
		if len(d.MACs) == 0 {
			return nil
		}
		j := rng.IntN(len(d.MACs))
		old := d.MACs[j]
		d.MACs = slices.Clone(d.MACs)
		d.MACs[j] = m
		return []planfile.Change{planfile.Replace(d.Name, "mac", old.String(), m.String())}
	case 3:
		if d.Room != "" && rng.IntN(2) == 0 {
			d.Room = ""
			return []planfile.Change{planfile.Unset(d.Name, "room")}
		}
		d.Room = randomText(rng)
		return []planfile.Change{planfile.Set(d.Name, "room", d.Room)}
	}
	n := inventory.Device{Name: fmt.Sprintf("new-%d", rng.IntN(1_000_000)), Role: inventory.Sensor, Note: randomText(rng), MACs: []inventory.MAC{m},
		Addresses: []netip.Addr{netip.AddrFrom4([4]byte{10, byte(rng.IntN(256)), byte(rng.IntN(256)), byte(1 + rng.IntN(254))})}}
	want.Devices = append(want.Devices, n)
	return []planfile.Change{planfile.Add(n)}
}

// checkLines holds each line of the old text against the new one: those of
// devices that no change is about must stand there, in their order.
func checkLines(t *testing.T, changes []planfile.Change, f *planfile.File, text string, touched map[string]bool) {
	t.Helper()
	old := strings.SplitAfter(string(f.Text()), "\n")
	owner := make([]string, len(old))
	for i, d := range f.Plan.Devices {
		last := len(old)
		if i+1 < len(f.Plan.Devices) {
			last = f.Plan.Devices[i+1].Line - 1
		}
		for l := d.Line - 1; l < last; l++ {
			if trimmed := strings.TrimSpace(old[l]); trimmed != "" && !strings.HasPrefix(trimmed, "#") && strings.HasPrefix(old[l], " ") {
				owner[l] = d.Name
			}
		}
	}
	rest := strings.SplitAfter(text, "\n")
	for l, line := range old {
		if touched[owner[l]] {
			continue
		}
		i := slices.IndexFunc(rest, func(s string) bool { return strings.TrimRight(s, "\r\n") == strings.TrimRight(line, "\r\n") })
		if i < 0 {
			t.Errorf("%v: line %d is gone, or changed: %q\n%s", changes, l+1, line, text)
			return
		}
		if line != rest[i] && l+1 < len(old) {
			t.Errorf("%v: line %d has another line end", changes, l+1)
		}
		rest = rest[i+1:]
	}
}

func randomMAC(rng *rand.Rand) inventory.MAC {
	return inventory.MAC{2, 0, 0x5e, byte(rng.IntN(256)), byte(rng.IntN(256)), byte(1 + rng.IntN(255))}
}

func randomText(rng *rand.Rand) string {
	words := []string{"shed", "no", "010", "1.10", "a: b", "x #y", "ü", "it's", `"quoted"`, "{", "}", "[a, b]", "*", "&x", "- z", "%", "true", "|", "tail "}
	s := ""
	for range 1 + rng.IntN(3) {
		s += words[rng.IntN(len(words))] + " "
	}
	return strings.TrimSuffix(s, " ")
}

// randomPlan writes devices in all the ways in which people write them.
func randomPlan(rng *rand.Rand) string {
	var b strings.Builder
	b.WriteString("# head\nsite: {name: Tern Quay}\nnetworks:\n  all: {subnet: 10.0.0.0/8}   # wide\nmodels: {dome: {role: camera, class: 3}}\ndevices:\n  hub: {role: switch}\n")
	for i := range 2 + rng.IntN(6) {
		if rng.IntN(3) == 0 {
			b.WriteString(pick(rng, "\n", "  # between\n", "# at the margin\n", "\n  # two\n\n"))
		}
		b.WriteString("  " + randomDevice(rng, i))
	}
	b.WriteString(pick(rng, "", "# tail\n", "leave_alone: [10.0.0.1]\n", "\n\n"))
	text := b.String()
	if rng.IntN(4) == 0 {
		text = strings.TrimSuffix(text, "\n")
	}
	if rng.IntN(2) == 0 {
		text = strings.ReplaceAll(text, "\n", "\r\n")
	}
	if rng.IntN(4) == 0 {
		text = "\ufeff" + text
	}
	return text
}

func pick(rng *rand.Rand, s ...string) string { return s[rng.IntN(len(s))] }

func randomDevice(rng *rand.Rand, i int) string {
	block := rng.IntN(2) == 0
	keys := []string{pick(rng, "model: dome", "role: sensor", "role: 'camera'")}
	if rng.IntN(3) > 0 {
		keys = append(keys, fmt.Sprintf("at: %s", pick(rng, fmt.Sprintf("hub/%d", i), fmt.Sprintf(`"hub/%d"`, i), "'hub'")))
	}
	switch m := randomMAC(rng).String(); rng.IntN(5) {
	case 0:
		keys = append(keys, "mac: "+pick(rng, "", "'", `"`)+m)
		if k := keys[len(keys)-1]; k[5] == '\'' || k[5] == '"' {
			keys[len(keys)-1] += k[5:6]
		}
	case 1:
		keys = append(keys, fmt.Sprintf("mac: [ %q ]", m))
	case 2:
		keys = append(keys, fmt.Sprintf("mac: [%q,%s%q]", m, pick(rng, " ", "  "), randomMAC(rng).String()))
	case 3:
		if block {
			in := pick(rng, "    ", "      ")
			keys = append(keys, fmt.Sprintf("mac:\n%s- %s # first\n%s- '%s'", in, m, in, randomMAC(rng)))
		}
	}
	if rng.IntN(2) == 0 {
		rooms := []string{"room: shed", `room: "a \"b\" \u00fc # no comment"`, "room: 'it''s'", "room: under the stairs"}
		if block {
			rooms = append(rooms, "room: two\n      lines", "room: |-\n      block")
		}
		keys = append(keys, pick(rng, rooms...))
	}
	if rng.IntN(2) == 0 {
		keys = append(keys, "draws: {usual: 5 W,   most: 11 W}")
	}
	rng.Shuffle(len(keys), func(a, b int) { keys[a], keys[b] = keys[b], keys[a] })
	name := fmt.Sprintf("d%d", i)
	if !block {
		glue := pick(rng, ", ", ",", ",\n      ", ", # why\n     ")
		end := pick(rng, "}", " }", ",}", "\n    }", " # end\n    }")
		return name + pick(rng, ": {", ":\n    {", ":   { ") + strings.Join(keys, glue) + end + pick(rng, "\n", "  # note\n")
	}
	for k := range keys {
		if !strings.Contains(keys[k], "\n") && rng.IntN(3) == 0 {
			keys[k] += "   # why"
		}
	}
	return name + ":" + pick(rng, "", "  # head") + "\n    " + strings.Join(keys, pick(rng, "\n    ", "\n\n    ", "\n    # c\n    ")) + "\n"
}
