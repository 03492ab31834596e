package oui_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"boundwalk/inventory/oui"
)

func mac(t testing.TB, text string) [6]byte {
	t.Helper()
	n, err := strconv.ParseUint(strings.ReplaceAll(text, "-", ""), 16, 48)
	if err != nil {
		t.Fatal(err)
	}
	return [6]byte{byte(n >> 40), byte(n >> 32), byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}
}

// The vectors are rows of the IEEE registries (Debian ieee-data, 2022-08-27).
func TestMaker(t *testing.T) {
	tests := map[string]struct{ mac, want string }{
		"MA-S":                              {"70-B3-D5-F2-F1-23", "TELEPLATFORMS"},
		"MA-M":                              {"20-85-93-B1-23-45", "IOG Products LLC"},
		"MA-L":                              {"00-00-5E-00-53-01", "ICANN, IANA Department"},
		"locally administered":              {"02-00-5E-00-53-01", ""},
		"registered before the local bit":   {"02-60-8C-00-00-01", ""},
		"multicast":                         {"01-00-5E-00-00-01", ""},
		"broadcast":                         {"FF-FF-FF-FF-FF-FF", ""},
		"nobody's":                          {"FC-FF-FF-00-00-00", ""},
		"the zero MAC is a registered MA-L": {"00-00-00-00-00-00", "XEROX CORPORATION"},
	}
	r := oui.Builtin()
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			if got := r.Maker(mac(t, test.mac)); got != test.want {
				t.Errorf("%s: got %q, want %q", test.mac, got, test.want)
			}
		})
	}
	if r.Date.Format(time.DateOnly) != "2022-08-27" || r.Len() < 46_000 {
		t.Errorf("built in are %d assignments of %v", r.Len(), r.Date)
	}
}

// Every row of Debian's ieee-data, first and last address of each assignment,
// against a plain map of the longest prefix first.
func TestAgainstIEEEData(t *testing.T) {
	const folder = "/usr/share/ieee-data/"
	plain := make(map[string]string)
	var prefixes []string
	for _, file := range []string{"oui.csv", "mam.csv", "oui36.csv", "iab.csv"} {
		b, err := os.ReadFile(folder + file)
		if err != nil && os.Getenv("CI") == "true" {
			t.Fatalf("needs Debian's ieee-data: %v", err)
		} else if err != nil {
			t.Skipf("needs Debian's ieee-data: %v", err)
		}
		records, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range records[1:] {
			// Three makers have invisible characters in their names.
			name := strings.NewReplacer("\u200b", "", "\u200e", "", "\u00ad", "").Replace(r[2])
			name = strings.Join(strings.Fields(name), " ")
			if other, twice := plain[r[1]]; twice && other != name {
				name = other + " / " + name
			}
			plain[r[1]] = name
			prefixes = append(prefixes, r[1])
		}
	}
	want := func(address string) string {
		if strings.ContainsAny(address[1:2], "1235679ABDEF") { // group or local bit
			return ""
		}
		for _, n := range []int{9, 7, 6} {
			if name := plain[address[:n]]; name != "" && name != "IEEE Registration Authority" {
				return name
			}
		}
		return ""
	}
	r := oui.Builtin()
	wrong := 0
	for _, p := range prefixes {
		for _, fill := range []string{"000000000000", "FFFFFFFFFFFF"} {
			address := p + fill[len(p):]
			got, want := r.Maker(mac(t, address)), want(address)
			if got != want && !(len(want) > 80 && strings.HasPrefix(want, strings.TrimSuffix(got, "…"))) {
				t.Errorf("%s: got %q, want %q", address, got, want)
				if wrong++; wrong > 10 {
					t.FailNow()
				}
			}
		}
	}
}

const header = "Registry,Assignment,Organization Name,Organization Address\n"

func TestLoad(t *testing.T) {
	r, err := oui.Load(strings.NewReader("\ufeff" + header +
		"MA-L,00005E,Tern Quay Radios,Slip 4\n" +
		"MA-L,80005E,\"Kittiwake, \u202eLtd\x07\n and Sons\",\n" +
		"MA-L,020000,Nobody,\n" +
		"MA-L,84005E,IEEE Registration Authority,\n" +
		header +
		"MA-S,84005E123,Small Lot,\n" +
		"IAB,84005E124,Old Lot,\n" +
		"CID,8A005E,No Addresses,\n"))
	if err != nil {
		t.Fatal(err)
	}
	for address, want := range map[string]string{
		"00-00-5E-00-53-01": "Tern Quay Radios",        // newer than the built-in row
		"80-00-5E-00-00-00": "Kittiwake, Ltd and Sons", // cleaned
		"84-00-5E-12-3F-FF": "Small Lot",
		"84-00-5E-12-4F-FF": "Old Lot",
		"84-00-5E-12-5F-FF": "", // of the divided parent
		"8A-00-5E-00-00-00": "",
		"00-22-72-00-00-00": "",                 // MA-L was replaced as a whole
		"20-85-93-B1-23-45": "IOG Products LLC", // MA-M was not in the file
		"70-B3-D5-F2-F1-23": "",                 // MA-S was
	} {
		if got := r.Maker(mac(t, address)); got != want {
			t.Errorf("%s: got %q, want %q", address, got, want)
		}
	}
	if !r.Date.IsZero() {
		t.Errorf("date %v, want zero", r.Date)
	}
}

func TestLoadRefuses(t *testing.T) {
	for name, test := range map[string]struct{ text, says string }{
		"empty":               {"", "no assignments"},
		"only a header":       {header, "no assignments"},
		"no header":           {"MA-L,00005E,Name,\n", "line 1: want the header"},
		"a web page":          {"<!DOCTYPE html>\n<html>\n", "line 1: want the header"},
		"unknown registry":    {header + "MA-X,00005E,Name,\n", `line 2: registry "MA-X"`},
		"too few digits":      {header + "MA-M,00005E,Name,\n", "want 7 hexadecimal digits"},
		"no digits":           {header + "MA-L,00-05E,Name,\n", "want 6 hexadecimal digits"},
		"too few fields":      {header + "MA-L,00005E\n", "2 fields"},
		"a quote left open":   {header + "MA-L,00005E,\"Name\n", "parse error"},
		"larger than the cap": {header + strings.Repeat("MA-L,00005E,Name,"+strings.Repeat("x", 1000)+"\n", 66_000), "larger than 64 MiB"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := oui.Load(strings.NewReader(test.text))
			if err == nil || !strings.Contains(err.Error(), test.says) {
				t.Errorf("error %v, want one with %q", err, test.says)
			}
		})
	}
}

func FuzzLoad(f *testing.F) {
	f.Add("MA-L", "00005E", "Tern Quay")
	f.Add("MA-S", "84005E123", "a\u0000\u202eb\xff")
	f.Add("MA-L", "00005E", strings.Repeat("\u00e9", 300))
	f.Fuzz(func(t *testing.T, registry, assignment, name string) {
		r, err := oui.Load(strings.NewReader(header + fmt.Sprintf("%s,%s,%q,\n", registry, assignment, name)))
		if err != nil {
			return
		}
		for len(assignment) < 12 {
			assignment += "0"
		}
		n, err := strconv.ParseUint(assignment, 16, 48)
		if err != nil {
			return
		}
		got := r.Maker([6]byte{byte(n >> 40), byte(n >> 32), byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)})
		if len(got) > 80 || !utf8.ValidString(got) || strings.ContainsAny(got, "\n\x00\u202e") {
			t.Errorf("name %q", got)
		}
	})
}

func BenchmarkMaker(b *testing.B) {
	r := oui.Builtin()
	addresses := [][6]byte{mac(b, "00-00-5E-00-53-01"), mac(b, "70-B3-D5-F2-F1-23"), mac(b, "20-85-93-B1-23-45"), mac(b, "FC-FF-FF-00-00-00")}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		r.Maker(addresses[i%len(addresses)])
		i++
	}
}
