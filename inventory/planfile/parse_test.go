package planfile_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

func example(t testing.TB) []byte {
	t.Helper()
	b, err := os.ReadFile("../../deploy/example/plan.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestExample(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", example(t))
	if err != nil {
		t.Fatal(err)
	}
	cam, ok := f.Plan.Device("slip-cam")
	if !ok || cam.At != (inventory.PortRef{Device: "quay-switch", Port: "5"}) || cam.Cable.Gauge != 23 || cam.Cable.Length != 62 || cam.Draws.Most != 11000 {
		t.Errorf("slip-cam is read as %+v", cam)
	}
}

// frame puts lines under devices into a plan that is right without them.
func frame(devices string) string {
	return `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/25}
devices:
  hub: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, ports: 8}
` + devices
}

// FC-29: what YAML makes of plain words is not what people mean.
func TestHandWrittenTraps(t *testing.T) {
	for _, c := range []struct {
		name, device, want string // want "": accepted
	}{
		{"an octal port", "cam: {port: 010}", `6:15: devices.cam.port: YAML reads 010 as a number: put it in quotes: "010"`},
		{"a port that loses its zero", "cam: {port: 1.10}", `put it in quotes: "1.10"`},
		{"a MAC of digits only", "cam: {mac: 000000530101}", `put it in quotes: "000000530101"`},
		{"a MAC that looks like a power of ten", "cam: {mac: 000005e00301}", `put it in quotes: "000005e00301"`},
		{"a MAC with points", "cam: {mac: 0000.5e00.5301}", ""},
		{"a MAC in capitals with dashes", "cam: {mac: 00-00-5E-00-53-01}", ""},
		{"a MAC in one piece", `cam: {mac: "00005e005301"}`, ""},
		{"a MAC with a short group", "cam: {mac: 00:00:5E:00:53:1}", "no MAC address: write twelve hexadecimal digits"},
		{"yes for a feed", "cam: {poe: yes}", `a device has no key "poe": what its ports give stands under feeds`},
		{"yes for true", "cam: {important: yes}", "write true or false"},
		{"a decimal comma in block style", "cam:\n    budget: 12,5", "has a comma: use a point and a unit: 12.5 W"},
		{"a decimal comma in flow style", "cam: {budget: 12,5 W}", "between { and } a comma parts keys"},
		{"watts by another name", "cam: {watts: 12,5}", "what it draws stands under draws"},
		{"a mistyped key", "cam: {nmae: cam}", "the name stands before the colon"},
		{"a key close to a known one", "cam: {roel: camera}", "did you mean role?"},
		{"the same key twice", "cam: {role: camera, role: switch}", `the key "role" stands twice: here and in line 6`},
		{"a name that YAML 1.1 takes for false", "no: {role: camera}", ""},
		{"a name that is true", "true: {role: camera}", `YAML reads true as true or false: put it in quotes: "true"`},
		{"a number without a unit", "cam: {budget: 130}", "has no unit: write 130 W"},
		{"the wrong unit", "cam: {stream: 4 MB/s}", "is no unit of bit rate"},
		{"a quoted number", `cam: {class: "3"}`, "write the number without quotes: 3"},
		{"a class with a zero in front", "cam: {class: 03}", "is no power class: write a number from 0 to 8"},
		{"a date", "cam: {note: 2024-01-01}", `put it in quotes: "2024-01-01"`},
		{"a serial number of digits", "cam: {serial: 0012345}", "put it in quotes"},
		{"nothing", "cam: {role: }", "has no value"},
		{"no body", "cam:", "has no value: a device is expected (write {} where there is nothing to say)"},
		{"a list for a device", "cam: [role, camera]", "a device is expected, not a list"},
		{"an address with its length", "cam: {address: 203.0.113.9/25}", "is a subnet: write the address alone"},
		{"an address with a leading zero", "cam: {address: 203.0.113.009}", "no leading zeros"},
		{"a 54 V standard without its type", "cam: {feeds: 802.3bt}", "has two types"},
		{"passive and standard", "cam: {feeds: {standard: 802.3af, passive: 24 V}}", "either a standard or a passive voltage"},
		{"pins of both polarities", "cam: {feeds: {passive: 24 V, plus: [4, 5], minus: [5, 7]}}", "under plus and under minus"},
		{"a negotiating device with takes", "cam: {takes: 802.3at}", "its class says what it takes"},
		{"months in another tongue", "cam: {away: Nov-Mai}", "English months, such as Nov-Mar"},
		{"a custom tag", "cam: {note: !secret x}", "remove it"},
		{"a block of text", "cam: {role: camera}\n  dog:\n    note: |\n      two\n      lines", "write it on one line"},
		{"an unquoted star", "cam: {restarts: {cron: */5 * * * *, for: 1 min}}", "put the value in quotes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := planfile.Parse("plan.yaml", []byte(frame("  "+c.device+"\n")))
			if c.want == "" {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v\nwant words with %q", err, c.want)
			}
		})
	}
}

// What one device says against the rest of the plan.
func TestReferencesAndDoubles(t *testing.T) {
	for _, c := range []struct {
		name, devices, want string
	}{
		{"a doubled MAC, in two styles", "a: {mac: 0000.5e00.5302}", `devices.a.mac: the MAC address 00:00:5e:00:53:02 is "hub"'s already, in line 5`},
		{"a doubled address", "a: {address: 203.0.113.2}", `the address 203.0.113.2 is "hub"'s already, in line 5`},
		{"a doubled port", "a: {at: hub/3}\n  b: {at: hub/3}", `port "3" of "hub" is "a"'s already, in line 6`},
		{"a doubled port in other letters", "a: {at: hub/Gi3}\n  b: {at: hub/gi3}", `port "gi3" of "hub" is "a"'s already`},
		{"an uplink that a device hangs on", "s: {role: switch, at: hub/1, port: 8, ports: 8}\n  b: {at: s/8}", `port "8" of "s" is`},
		{"an injector and what it feeds share a port", "i: {role: injector, at: hub/3}\n  r: {at: hub/3, via: i}", ""},
		{"what hangs by radio has no port", "a: {role: phone, at: hub}\n  b: {role: phone, at: hub}", ""},
		{"a port beyond the last", "a: {at: hub/9}", `"hub" has no port "9" (it has 1 to 8)`},
		{"a port with a zero in front", "a: {at: hub/03}", `"hub" has no port "03" (it has 1 to 8)`},
		{"a port by its interface's name", "a: {at: hub/gi9}", ""},
		{"a spare port beyond the last", "s: {ports: 4, spare: [1, 5]}", `"s" has no port "5"`},
		{"no such place", "a: {at: hbu/3}", `the plan has no device "hbu": did you mean hub?`},
		{"no such model", "a: {model: dome}", `the plan has no model "dome": it has none at all`},
		{"no such access", "a: {access: core}", `the plan has no access "core"`},
		{"no such injector", "a: {at: hub/3, via: inj}", `the plan has no device "inj"`},
		{"an injector that is a switch", "a: {at: hub/3, via: hub}", `"hub" is no injector`},
		{"mains", "a: {mains: mains}", ""},
		{"mains from a switch", "a: {mains: hub}", `"hub" is no UPS`},
		{"a recorder that is a switch", "a: {recorder: hub}", `"hub" is no recorder`},
		{"on itself", "a: {at: a/1}", `"a" hangs on itself`},
		{"a ring", "a: {at: b/1}\n  b: {at: c/1}\n  c: {at: a/1}", `devices hang on one another in a ring: a on b on c on a`},
		{"a ring through an injector", "a: {at: hub/1, via: i}\n  i: {role: injector, at: a/2}", "in a ring: a on i on a"},
		{"names that differ by case only", "Hub: {}", `differs from that in line 5 by its case only`},
		{"a name with a slash", "a/b: {}", "is no name"},
		{"an address twice in one list", "a: {address: [203.0.113.9, 203.0.113.9]}", "stands in the list twice"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := planfile.Parse("plan.yaml", []byte(frame("  "+c.devices+"\n")))
			if c.want == "" {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v\nwant words with %q", err, c.want)
			}
		})
	}
}

// Keys outside of devices, each line put behind a plan that is right without it.
func TestOtherProblems(t *testing.T) {
	for _, c := range []struct{ name, lines, want string }{
		{"a community in the plan", "access: {a: {snmp: v2c, community: hunter2}}", "a secret does not stand in the plan"},
		{"v2c without a community", "access: {a: {snmp: v2c}}", `v2c needs the key "community"`},
		{"v3 with a community", "access: {a: {snmp: v3, user: u, community: file:c}}", "v3 has no community"},
		{"privacy alone", "access: {a: {snmp: v3, user: u, privacy: aes, secrets: {privacy: file:p}}}", "privacy needs authentication"},
		{"contexts of one context", "access: {a: {snmp: v3, user: u, context: vlan-10, contexts: per-vlan}}", "leads to no others"},
		{"an unknown choice of contexts", "access: {a: {snmp: v2c, community: file:c, contexts: all}}", "listed, per-vlan"},
		{"auth without its secret", "access: {a: {snmp: v3, user: u, auth: sha}}", "auth sha needs its secret"},
		{"an unknown algorithm", "access: {a: {snmp: v3, user: u, auth: sha1}}", `"sha1" is no authentication: did you mean sha?`},
		{"a version", "access: {a: {snmp: 3}}", "put it in quotes"},
		{"every five minutes, unquoted", "service: {runs: '@every 5m'}", "write five fields"},
		{"a day that never comes", "service: {runs: '0 0 31 2 *'}", "never comes"},
		{"a leap day", "service: {runs: '0 0 29 2 *'}", ""},
		{"a digest each day", "service: {digest: '0 8 * * *'}", "does not come once a week"},
		{"a digest on two days", "service: {digest: '0 8 * * MON,FRI'}", "does not come once a week"},
		{"mail without a sender", "service: {mail: {to: a@example.net, server: mail.example.net}}", `mail needs the key "from"`},
		{"a password without a user", "service: {mail: {to: a@example.net, from: a@example.net, server: m.example.net, password: file:p}}", "go together"},
		{"metrics for all", "service: {metrics: 0.0.0.0:9464}", "only this machine may ask"},
		{"a link to nowhere", "radio_links: {l: {between: [hub, far]}}", `the plan has no device "far"`},
		{"a link to itself", "radio_links: {l: {between: [hub, hub]}}", "has two ends"},
		{"a link with one end", "radio_links: {l: {between: hub}}", "two values are expected"},
		{"an unknown kind", "severity: {link-slwo: note}", "did you mean link-slow?"},
		{"an unknown severity", "severity: {link-slow: critical}", "write urgent, warning, note or off"},
		{"a share beyond all", "near: {port: 120 %}", "out of range"},
		{"an unknown key", "hosts: {}", `a plan has no key "hosts": did you mean devices?`},
		{"logins always", "factory_logins: always", "write off, on-request or after-change"},
		{"a model with a MAC", `models: {m: {mac: "00:00:5e:00:53:77"}}`, `a model has no key "mac"`},
		{"a model of a model", "models: {m: {model: m}}", `a model has no key "model"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := planfile.Parse("plan.yaml", []byte(frame("")+c.lines+"\n"))
			if c.want == "" {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v\nwant words with %q", err, c.want)
			}
			if strings.Contains(err.Error(), "hunter2") {
				t.Errorf("the message repeats a secret: %v", err)
			}
		})
	}
}

func TestNetworkProblems(t *testing.T) {
	for _, c := range []struct{ name, networks, want string }{
		{"an address for a subnet", "a: {subnet: 203.0.113.5/25}", "the subnet is 203.0.113.0/25"},
		{"no length", "a: {subnet: 203.0.113.0}", "its length is missing"},
		{"no subnet", "a: {vlan: 10}", `a network needs the key "subnet"`},
		{"overlap", "a: {subnet: 203.0.113.0/24}\n  b: {subnet: 203.0.113.128/25}", `overlaps the network "a" in line 3`},
		{"a gateway outside", "a: {subnet: 203.0.113.0/25, gateway: 203.0.113.200}", "lies outside of 203.0.113.0/25"},
		{"a range outside", "a: {subnet: 203.0.113.0/25, dynamic: 203.0.113.100-203.0.113.140}", "lies outside"},
		{"a range backwards", "a: {subnet: 203.0.113.0/25, dynamic: 203.0.113.40-203.0.113.10}", "ends before it begins"},
		{"a short range", "a: {subnet: 203.0.113.0/25, dynamic: 203.0.113.40-60}", "write both ends in full"},
		{"VLAN 4095", "a: {subnet: 203.0.113.0/25, vlan: 4095}", "from 1 to 4094"},
		{"IPv6 in the wrong place", `a: {subnet: "2001:db8::/64"}`, "stand under subnet6"},
		{"loopback, for a simulated site", "a: {subnet: 127.0.0.0/8}", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := planfile.Parse("plan.yaml", []byte("site: {name: x}\nnetworks:\n  "+c.networks+"\ndevices: {}\n"))
			if c.want == "" {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v\nwant words with %q", err, c.want)
			}
		})
	}
}

func TestAllProblemsAtOnceInOrder(t *testing.T) {
	_, err := planfile.Parse("/etc/boundwalk/plan.yaml", []byte(frame(`  b: {roel: camera}
  a: {class: 9, at: hub/12}
  c: {mac: 00:00:5E:00:53:1}
nowhere: 1
`)))
	problems, ok := errors.AsType[planfile.Problems](err)
	if !ok {
		t.Fatalf("%T: %v", err, err)
	}
	want := `plan.yaml:6:7: devices.b: a device has no key "roel": did you mean role?
plan.yaml:7:14: devices.a.class: "9" is no power class: write a number from 0 to 8
plan.yaml:7:21: devices.a.at: "hub" has no port "12" (it has 1 to 8)
plan.yaml:8:12: devices.c.mac: "00:00:5E:00:53:1" is no MAC address: write twelve hexadecimal digits, such as 00:00:5e:00:53:01
plan.yaml:9:1: a plan has no key "nowhere" (it has site, networks, access, cable, models, devices, radio_links, leave_alone, factory_logins, severity, near, sources, service)`
	if got := problems.Error(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// A text that is no plan gives no plan, so that the last good one stays.
func TestBadFiles(t *testing.T) {
	whole := string(example(t))
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "plan.yaml: the plan is empty"},
		{"blanks", " \n\n", "the plan is empty"},
		{"comments only", "# nothing yet\n", "the plan is empty"},
		{"null", "~\n", "a plan, which is a mapping of keys, is expected"},
		{"half written", whole[:len(whole)/2], ""},
		{"cut before the devices", whole[:strings.Index(whole, "\ndevices:")+1], `a plan needs the key "devices"`},
		{"too large", strings.Repeat("# a comment line\n", 1<<16), "1 MiB"},
		{"a tab", strings.Replace(frame(""), "  yard", "\tyard", 1), "plan.yaml:3:1: a tab: indent with blanks"},
		{"a Windows code page", strings.Replace(frame(""), "Tern", "T\xe4rn", 1), "plan.yaml:1:15: byte 0xE4 is no UTF-8"},
		{"UTF-16", "\xff\xfes\x00i\x00", "UTF-16"},
		{"NUL", frame("") + "\x00", "NUL"},
		{"an escape", frame("") + "# \x1b[2J", "a control character (U+001B)"},
		{"an invisible line break", frame("# x\u2028  evil: {role: router}\n"), "plan.yaml:6:4: an invisible line break (U+2028)"},
		{"a carriage return alone", frame("  a: {}\r  b: {}\n"), "a carriage return without a line feed"},
		{"two documents", frame("") + "---\na: 1\n", "several documents"},
		{"an open brace", frame("  a: {role: camera\n"), "a comma or the } is missing"},
		{"an open quote", frame("  a: {note: \"x}\n"), "closing quote is missing"},
		{"bad indentation", frame("   a: {}\n"), "in one column"},
		{"a colon in a value", frame("  a:\n    note: x: y\n"), "put the value in quotes"},
		{"a list", "- a\n- b\n", "not a list"},
		{"deep nesting", strings.Repeat("[", 100), "nested deeper"},
		{"an alias that eats itself", "site: &s {name: *s}\n", "a text is expected"},
		{"a merge of itself", "site: &s {name: x, <<: *s}\nnetworks: {}\ndevices: {}\n", "lead back to themselves"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := planfile.Parse("plan.yaml", []byte(c.text))
			if f != nil || err == nil {
				t.Fatal("it was taken for a plan")
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v\nwant words with %q", err, c.want)
			}
			if _, ok := errors.AsType[planfile.Problems](err); !ok {
				t.Errorf("the error is a %T", err)
			}
		})
	}
}

func TestLineEndsAndByteOrderMark(t *testing.T) {
	want, err := planfile.Parse("plan.yaml", example(t))
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{
		"CR LF":             bytes.ReplaceAll(example(t), []byte("\n"), []byte("\r\n")),
		"a byte order mark": append([]byte("\xef\xbb\xbf"), example(t)...),
		"no last line end":  bytes.TrimRight(example(t), "\n"),
	} {
		got, err := planfile.Parse("plan.yaml", b)
		if err != nil || !reflect.DeepEqual(got.Plan, want.Plan) {
			t.Errorf("%s: another plan, or none: %v", name, err)
		}
	}
}

func TestAnchorsAndMerges(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", []byte(frame(`  a: &cam {role: camera, at: hub/1, draws: &d {usual: 5 W, most: 11 W}, room: office}
  b: {<<: *cam, at: hub/2, draws: {most: 7 W}}
  c: {<<: [{room: shed}, *cam], at: hub/3, draws: *d}
`)))
	if err != nil {
		t.Fatal(err)
	}
	b, _ := f.Plan.Device("b")
	c, _ := f.Plan.Device("c")
	if b.Role != inventory.Camera || b.Room != "office" || b.At.Port != "2" || b.Draws != (inventory.Draws{Most: 7000}) {
		t.Errorf("b is %+v", b)
	}
	if c.Room != "shed" || c.Role != inventory.Camera || c.Draws != (inventory.Draws{Usual: 5000, Most: 11000}) {
		t.Errorf("c is %+v", c)
	}
}

// Nine aliases of nine aliases, eight deep, would be 43 million nodes.
func TestAliasBomb(t *testing.T) {
	var b strings.Builder
	b.WriteString("models:\n")
	for i := range 2000 {
		fmt.Fprintf(&b, "  m%d: &m%d {role: camera, x%d: 1", i, i, i)
		if i > 0 {
			fmt.Fprintf(&b, ", <<: *m%d", i-1)
		}
		b.WriteString("}\n")
	}
	_, err := planfile.Parse("plan.yaml", []byte(frame("")+b.String()))
	if err == nil || !strings.Contains(err.Error(), "lead back") && !strings.Contains(err.Error(), "grows beyond") {
		t.Errorf("merges of merges: %.200v", err)
	}
}
