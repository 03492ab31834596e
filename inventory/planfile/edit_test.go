package planfile_test

import (
	"errors"
	"fmt"
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
  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12, spare: [9, 10,  11]} # in the rack
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

var edits = []struct {
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
	{"the first of a flow list", []planfile.Change{planfile.Remove("hub", "spare", "9")}, `
-  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12, spare: [9, 10,  11]} # in the rack
+  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12, spare: [10,  11]} # in the rack`},
	{"another of a flow list", []planfile.Change{planfile.Remove("hub", "spare", "11")}, `
-  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12, spare: [9, 10,  11]} # in the rack
+  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12, spare: [9, 10]} # in the rack`},
	{"all of a flow list", []planfile.Change{planfile.Remove("hub", "spare", "10"), planfile.Remove("hub", "spare", "11"),
		planfile.Remove("hub", "spare", "9")}, `
-  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12, spare: [9, 10,  11]} # in the rack
+  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 12} # in the rack`},
	{"one of a block list", []planfile.Change{planfile.Remove("two", "mac", "00:00:5e:00:53:32")}, `
-      - '00:00:5e:00:53:32'  # cable side`},
	{"the only value", []planfile.Change{planfile.Remove("three", "mac", "00:00:5e:00:53:33")}, `
-    mac: ["00:00:5e:00:53:33"],   # one
+       # one`},
	{"a new device", []planfile.Change{planfile.Add(inventory.Device{Name: "six", Model: "dome",
		MACs: []inventory.MAC{{0, 0, 0x5e, 0, 0x53, 0x36}}, At: inventory.PortRef{Device: "hub", Port: "6"}})}, `
+  six: {model: dome, mac: "00:00:5e:00:53:36", at: hub/6}`},
	{"several at once, two of them on one device", []planfile.Change{
		planfile.Set("one", "at", "hub/2"), planfile.Set("two", "at", "hub/1"), planfile.Append("one", "mac", "02:00:5e:00:53:31")}, `
-  one:  {model: dome,  mac: 0000.5e00.5331, 'at': hub/1 }   # odd blanks
+  one:  {model: dome,  mac: [0000.5e00.5331, "02:00:5e:00:53:31"], 'at': hub/2 }   # odd blanks
-    at: "hub/2"    # by the door
+    at: hub/1    # by the door`},
}

func TestEdit(t *testing.T) {
	for _, c := range edits {
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
		{"a block of text", f, planfile.Set("four", "note", "short"), planfile.ErrByHand,
			"plan.yaml:25:11: set note of four: is a block of text (| or >): change it by hand"},
		{"a value over two lines", f, planfile.Set("two", "note", "short"), planfile.ErrByHand, "over several lines"},
		{"a list in block style", f, planfile.Set("two", "mac", "00:00:5e:00:53:42"), planfile.ErrByHand, "over several lines"},
		{"an anchored value", linked, planfile.Set("a", "room", "office"), planfile.ErrByHand, "carries the anchor &r"},
		{"a key from a merge", linked, planfile.Unset("b", "room"), planfile.ErrByHand, "from a merge"},
		{"no such device", f, planfile.Set("seven", "at", "hub/7"), planfile.ErrNotThere, "no device of that name"},
		{"no such key", f, planfile.Set("one", "colour", "red"), planfile.ErrNotThere, `no key "colour"`},
		{"a key that is not there", f, planfile.Unset("one", "room"), planfile.ErrNotThere, "does not say it itself"},
		{"a MAC that is not there", f, planfile.Replace("one", "mac", "00:00:5e:00:53:99", "00:00:5e:00:53:98"), planfile.ErrNotThere, "does not hold"},
		{"a value that is not there", f, planfile.Remove("hub", "spare", "7"), planfile.ErrNotThere, "does not hold"},
		{"a value of a key that is not there", f, planfile.Remove("one", "spare", "7"), planfile.ErrNotThere, "does not say it itself"},
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

// What a new device does not say shows through from its model and the site's cable.
func TestAddToTheExample(t *testing.T) {
	f := parse(t, string(example(t)))
	text, err := f.Edit(planfile.Add(inventory.Device{Name: "slip-cam-2", Model: "dome", At: inventory.PortRef{Device: "quay-switch", Port: "7"},
		Cable: inventory.CableRun{Label: "C07", Length: 66}}), planfile.Append("slip-cam-2", "mac", "00:00:5e:00:53:37"))
	if err != nil {
		t.Fatal(err)
	}
	want := `+  slip-cam-2: {model: dome, at: quay-switch/7, cable: {label: C07, length: 66 m}, mac: "00:00:5e:00:53:37"}`
	if got := lineDiff(string(example(t)), string(text)); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	d, _ := parse(t, string(text)).Plan.Device("slip-cam-2")
	if d.Cable.Gauge != 23 || d.Cable.Length != 66 || d.Role != inventory.Camera || d.Stream != 4e6 {
		t.Errorf("it is read as %+v", d)
	}
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
			planfile.Replace(device, key, value, value+"x"), planfile.Remove(device, key, value),
			planfile.Add(inventory.Device{Name: device, Note: value, Room: key})} {
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

func BenchmarkEdit(b *testing.B) {
	for _, n := range []int{500, 5000} {
		f := parse(b, string(manyDevices(n)))
		var changes []planfile.Change
		for i := range 20 {
			changes = append(changes, planfile.Append(fmt.Sprintf("cam-%d", i*7), "mac", fmt.Sprintf("02:00:5e:00:ff:%02x", i)))
		}
		b.Run(fmt.Sprintf("devices=%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := f.Edit(changes...); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
