package inventory_test

import (
	"encoding/json"
	"errors"
	"testing"

	"boundwalk/inventory"
)

func TestParseMAC(t *testing.T) {
	want := inventory.MAC{0, 0, 0x5e, 0, 0x53, 1}
	for _, tt := range []struct {
		name, in string
		ok       bool
	}{
		{"colons", "00:00:5e:00:53:01", true},
		{"dashes in upper case", "00-00-5E-00-53-01", true},
		{"dotted", "0000.5e00.5301", true},
		{"plain", "00005E005301", true},
		{"a shortened group is a guess", "00:00:5E:00:53:1", false},
		{"mixed separators", "00:00-5e:00:53:01", false},
		{"seven groups", "00:00:5e:00:53:01:02", false},
		{"no digits", "gg:00:5e:00:53:01", false},
		{"empty", "", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := inventory.ParseMAC(tt.in)
			if tt.ok && (err != nil || got != want) {
				t.Fatalf("got %v, %v; want %v", got, err, want)
			}
			if !tt.ok && !errors.Is(err, inventory.ErrMAC) {
				t.Fatalf("got %v, %v; want ErrMAC", got, err)
			}
		})
	}
}

func TestMACText(t *testing.T) {
	in := map[inventory.MAC]int{{0, 0, 0x5e, 0, 0x53, 1}: 7}
	b, err := json.Marshal(in)
	if err != nil || string(b) != `{"00:00:5e:00:53:01":7}` {
		t.Fatalf("got %s, %v", b, err)
	}
	var out map[inventory.MAC]int
	if err := json.Unmarshal(b, &out); err != nil || out[inventory.MAC{0, 0, 0x5e, 0, 0x53, 1}] != 7 {
		t.Fatalf("got %v, %v", out, err)
	}
	var zero inventory.MAC
	if err := zero.UnmarshalText(nil); err != nil || zero.IsValid() || zero.String() != "" {
		t.Fatalf("got %v, %v; want the zero value, which prints nothing", zero, err)
	}
}

func TestMACBits(t *testing.T) {
	local := inventory.MAC{2, 0, 0x5e, 0, 0x53, 1}
	if !local.IsLocal() || local.IsMulticast() {
		t.Error("02:… is local and no group")
	}
	if !(inventory.MAC{0xff, 0xff, 0xff, 0xff, 0xff, 0xff}).IsMulticast() {
		t.Error("broadcast is a group")
	}
}
