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

func parse(t testing.TB, text string) *planfile.File {
	t.Helper()
	f, err := planfile.Parse("plan.yaml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return f
}

const editable = `# a plan that was written by hand
site: {name: Tern Quay}   # the yard
networks:
  yard: {subnet: 203.0.113.0/25}
models: {dome: {role: camera, draws: {usual: 5 W, most: 11 W}}}
devices:
  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12} # in the rack
  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks

  # a comment of its own
  two:
    model: dome
    mac:
      - '00:00:5e:00:53:32'  # cable side
      - "02:00:5e:00:53:32"
    at: "hub/2"    # by the door
    note: an umlaut ü, and
      a second line
  three: {model: dome, at: hub/3,
    mac: ["00:00:5e:00:53:33"],   # one
    room: shed,
    address: 203.0.113.33 # last
    }
  four:
    note: >-
      a folded block
      of text
  five: {}
# after the devices
leave_alone: [203.0.113.50]
`

func TestEdit(t *testing.T) {
	for _, c := range []struct {
		name    string
		changes []planfile.Change
		want    string // lines with - taken out and + put in
	}{
		{"a value in a flow mapping", []planfile.Change{planfile.Set("one", "at", "hub/7")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/7 }   # odd blanks`},
		{"a value in a block mapping", []planfile.Change{planfile.Set("two", "at", "hub/7")}, `
-    at: "hub/2"    # by the door
+    at: hub/7    # by the door`},
		{"a port that needs quotes", []planfile.Change{planfile.Set("two", "port", "010")}, `
+    port: "010"`},
		{"a new key in a flow mapping", []planfile.Change{planfile.Set("one", "address", "203.0.113.31")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1, address: 203.0.113.31 }   # odd blanks`},
		{"a new key behind a comment", []planfile.Change{planfile.Set("three", "class", "3")}, `
-    address: 203.0.113.33 # last
+    address: 203.0.113.33, class: 3 # last`},
		{"a new key behind a block of text", []planfile.Change{planfile.Set("four", "mac", "00005e005334")}, `
+    mac: "00:00:5e:00:53:34"`},
		{"a new key in an empty mapping", []planfile.Change{planfile.Set("five", "role", "printer")}, `
-  five: {}
+  five: {role: printer}`},
		{"a model's key of its own", []planfile.Change{planfile.Set("one", "role", "sensor")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1, role: sensor }   # odd blanks`},
		{"a mapping as a value", []planfile.Change{planfile.Set("one", "draws", "{most: 9 W}")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1, draws: {most: 9 W} }   # odd blanks`},
		{"another MAC for a single one", []planfile.Change{planfile.Replace("one", "mac", "00:00:5e:00:53:31", "00:00:5e:00:53:41")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: "00:00:5e:00:53:41", 'at': hub/1 }   # odd blanks`},
		{"another MAC in a block list", []planfile.Change{planfile.Replace("two", "mac", "00-00-5E-00-53-32", "00:00:5e:00:53:42")}, `
-      - '00:00:5e:00:53:32'  # cable side
+      - "00:00:5e:00:53:42"  # cable side`},
		{"one more MAC for a single one", []planfile.Change{planfile.Append("one", "mac", "02:00:5e:00:53:31")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: [0000.5e00.5331, "02:00:5e:00:53:31"], 'at': hub/1 }   # odd blanks`},
		{"one more MAC in a flow list", []planfile.Change{planfile.Append("three", "mac", "02:00:5e:00:53:33")}, `
-    mac: ["00:00:5e:00:53:33"],   # one
+    mac: ["00:00:5e:00:53:33", "02:00:5e:00:53:33"],   # one`},
		{"one more MAC in a block list", []planfile.Change{planfile.Append("two", "mac", "02:00:5e:00:53:52")}, `
+      - "02:00:5e:00:53:52"`},
		{"the first MAC", []planfile.Change{planfile.Append("four", "mac", "00:00:5e:00:53:34")}, `
+    mac: "00:00:5e:00:53:34"`},
		{"a key out of a flow mapping", []planfile.Change{planfile.Unset("one", "mac")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  'at': hub/1 }   # odd blanks`},
		{"the last key out of a flow mapping", []planfile.Change{planfile.Unset("one", "at")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: 0000.5e00.5331 }   # odd blanks`},
		{"a line of its own out of a flow mapping", []planfile.Change{planfile.Unset("three", "room")}, `
-    room: shed,`},
		{"a list out of a block mapping", []planfile.Change{planfile.Unset("two", "mac")}, `
-    mac:
-      - '00:00:5e:00:53:32'  # cable side
-      - "02:00:5e:00:53:32"`},
		{"two lines out of a block mapping", []planfile.Change{planfile.Unset("two", "note")}, `
-    note: an umlaut ü, and
-      a second line`},
		{"a new device", []planfile.Change{planfile.Add(inventory.Device{Name: "six", Model: "dome",
			MACs: []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 0x36}}, At: inventory.PortRef{Device: "hub", Port: "6"}})}, `
+  six: {model: dome, mac: "00:00:5e:00:53:36", at: hub/6}`},
		{"several at once, two of them on one device", []planfile.Change{
			planfile.Set("one", "at", "hub/2"), planfile.Set("two", "at", "hub/1"), planfile.Append("one", "mac", "02:00:5e:00:53:31")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: [0000.5e00.5331, "02:00:5e:00:53:31"], 'at': hub/2 }   # odd blanks
-    at: "hub/2"    # by the door
+    at: hub/1    # by the door`},
	} {
		for _, eol := range []string{"\n", "\r\n"} {
			t.Run(c.name+fmt.Sprintf(" %q", eol), func(t *testing.T) {
				f := parse(t, strings.ReplaceAll(editable, "\n", eol))
				got, err := f.Edit(c.changes...)
				if err != nil {
					t.Fatal(err)
				}
				if eol == "\r\n" && strings.Count(string(got), "\n") != strings.Count(string(got), "\r\n") {
					t.Error("line ends are mixed")
				}
				if d := lineDiff(editable, strings.ReplaceAll(string(got), "\r\n", "\n")); d != strings.TrimPrefix(c.want, "\n") {
					t.Errorf("got\n%s\nwant\n%s", d, strings.TrimPrefix(c.want, "\n"))
				}
			})
		}
	}
}

// lineDiff is the lines that go and come, by the longest common subsequence.
func lineDiff(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	long := make([][]int, len(x)+1)
	for i := range long {
		long[i] = make([]int, len(y)+1)
	}
	for i := len(x) - 1; i >= 0; i-- {
		for j := len(y) - 1; j >= 0; j-- {
			if x[i] == y[j] {
				long[i][j] = long[i+1][j+1] + 1
			} else {
				long[i][j] = max(long[i+1][j], long[i][j+1])
			}
		}
	}
	var out []string
	for i, j := 0, 0; i < len(x) || j < len(y); {
		switch {
		case i < len(x) && j < len(y) && x[i] == y[j]:
			i, j = i+1, j+1
		case i < len(x) && (j == len(y) || long[i+1][j] >= long[i][j+1]):
			out = append(out, "-"+x[i])
			i++
		default:
			out = append(out, "+"+y[j])
			j++
		}
	}
	return strings.Join(out, "\n")
}

func TestEditRefuses(t *testing.T) {
	f := parse(t, editable)
	linked := parse(t, `site: {name: x}
networks: {yard: {subnet: 203.0.113.0/25}}
devices:
  hub: {role: switch, ports: 8}
  a: &a {role: camera, at: hub/1, room: &r shed}
  b: {<<: *a, at: hub/2}
`)
	for _, c := range []struct {
		name   string
		file   *planfile.File
		change planfile.Change
		is     error
		want   string
	}{
		{"a block of text", f, planfile.Set("four", "note", "short"), planfile.ErrByHand, "plan.yaml:25:11: set note of four: is a block of text (| or >): change it by hand"},
		{"a value over two lines", f, planfile.Set("two", "note", "short"), planfile.ErrByHand, "over several lines"},
		{"a list in block style", f, planfile.Set("two", "mac", "00:00:5e:00:53:42"), planfile.ErrByHand, "over several lines"},
		{"an anchored value", linked, planfile.Set("a", "room", "office"), planfile.ErrByHand, "carries the anchor &r"},
		{"a key from a merge", linked, planfile.Unset("b", "room"), planfile.ErrByHand, "from a merge"},
		{"no such device", f, planfile.Set("seven", "at", "hub/7"), planfile.ErrNotThere, "no device of that name"},
		{"no such key", f, planfile.Set("one", "colour", "red"), planfile.ErrNotThere, `no key "colour"`},
		{"a key that is not there", f, planfile.Unset("one", "room"), planfile.ErrNotThere, "does not say it itself"},
		{"a MAC that is not there", f, planfile.Replace("one", "mac", "00:00:5e:00:53:99", "00:00:5e:00:53:98"), planfile.ErrNotThere, "does not hold"},
		{"a taken port", f, planfile.Set("one", "at", "hub/2"), nil, `port "2" of "hub" is "one"'s already`},
		{"a taken MAC", f, planfile.Append("one", "mac", "02:00:5e:00:53:32"), nil, "already"},
		{"no MAC", f, planfile.Set("one", "mac", "00:00:5e:0:53:1"), nil, "no MAC address"},
		{"a line break", f, planfile.Set("one", "room", "x\nevil: {}"), nil, "line break"},
		{"a taken name", f, planfile.Add(inventory.Device{Name: "one"}), nil, "has a device of that name"},
		{"no name", f, planfile.Add(inventory.Device{Name: "a: {b"}), nil, "is no name"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, err := c.file.Edit(c.change)
			if err == nil {
				t.Fatalf("it was done:\n%s", text)
			}
			if c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v\nwant words with %q", err, c.want)
			}
		})
	}
}

// Issue 7: for random plans and random accepts, parse(edit(file)) is the plan
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
		d := &want.Devices[i]
		if touched[d.Name] {
			continue
		}
		touched[d.Name] = true
		m := randomMAC(rng)
		switch rng.IntN(5) {
		case 0:
			d.At = inventory.PortRef{Device: "hub", Port: fmt.Sprint(100 + rng.IntN(900_000))}
			changes = append(changes, planfile.Set(d.Name, "at", d.At.String()))
		case 1:
			d.MACs = append(slices.Clone(d.MACs), m)
			changes = append(changes, planfile.Append(d.Name, "mac", m.String()))
		case 2:
			if len(d.MACs) == 0 {
				continue
			}
			j := rng.IntN(len(d.MACs))
			changes = append(changes, planfile.Replace(d.Name, "mac", d.MACs[j].String(), m.String()))
			d.MACs = slices.Clone(d.MACs)
			d.MACs[j] = m
		case 3:
			if f.Plan.Devices[i].Room == "" || rng.IntN(2) == 0 {
				d.Room = randomText(rng)
				changes = append(changes, planfile.Set(d.Name, "room", d.Room))
			} else {
				d.Room = ""
				changes = append(changes, planfile.Unset(d.Name, "room"))
			}
		case 4:
			n := inventory.Device{Name: fmt.Sprintf("new-%d", rng.IntN(1_000_000)), Role: inventory.Sensor, Note: randomText(rng), MACs: []inventory.MAC{m},
				Addresses: []netip.Addr{netip.AddrFrom4([4]byte{10, byte(rng.IntN(256)), byte(rng.IntN(256)), byte(1 + rng.IntN(254))})}}
			want.Devices = append(want.Devices, n)
			changes = append(changes, planfile.Add(n))
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

func FuzzEdit(f *testing.F) {
	f.Add([]byte(editable), "one", "room", "x: # y")
	f.Add([]byte(editable), "two", "at", "hub/010")
	f.Add([]byte(editable), "three", "note", "é\u00a0\t'\"")
	f.Add([]byte(editable), "five", "draws", "{usual: 1 W}")
	f.Fuzz(func(t *testing.T, b []byte, device, key, value string) {
		p, err := planfile.Parse("plan.yaml", b)
		if err != nil {
			return
		}
		for _, c := range []planfile.Change{planfile.Set(device, key, value), planfile.Append(device, key, value), planfile.Unset(device, key),
			planfile.Replace(device, key, value, value+"x"), planfile.Add(inventory.Device{Name: device, Note: value, Room: key})} {
			text, err := p.Edit(c)
			if err != nil {
				continue
			}
			if _, err := planfile.Parse("plan.yaml", text); err != nil {
				t.Errorf("%v gave a plan that is wrong: %v", c, err)
			}
		}
	})
}
