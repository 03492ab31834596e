package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// mayImport is the map of the packages: what each may import of ours, where no
// entry means nothing. Everything below cmd may import all of it.
var mayImport = map[string][]string{
	"inventory":          {"inventory/poe", "inventory/cable"},
	"inventory/poe":      {"inventory/cable"},
	"inventory/planfile": {"inventory", "inventory/poe"},
	"discover/mib":       {"inventory", "inventory/poe", "inventory/ups", "discover/snmp"},
	"discover/dnssd":     {"discover/multicast"},
	"discover/wsd":       {"discover/multicast"},
	"discover": {"inventory", "discover/arp", "discover/snmp", "discover/mib", "discover/ndp", "discover/dnssd", "discover/wsd",
		"discover/lease", "discover/reach", "discover/login"},
	"diff":        {"inventory", "inventory/poe", "inventory/cable", "inventory/radio", "inventory/video", "inventory/ups"},
	"diff/digest": {"inventory", "diff"},
	"store":       {"inventory", "diff"},

	"discover/simnet/simnettest": {"discover/simnet"},
	"discover/simnet/mibrows":    {"discover/simnet", "inventory", "inventory/poe"},
	"discover/simnet/ternquay":   {"discover/simnet", "discover/simnet/mibrows", "inventory", "inventory/poe"},
}

// The direction of design, kept by a machine: store and discover never meet,
// inventory knows nobody, diff needs neither network nor database.
func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", "boundwalk/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimPrefix(p.ImportPath, "boundwalk/")
		if strings.HasPrefix(name, "cmd/") || strings.HasPrefix(name, "deploy/") {
			continue
		}
		for _, i := range p.Imports {
			if dep, ours := strings.CutPrefix(i, "boundwalk/"); ours && !slices.Contains(mayImport[name], dep) {
				t.Errorf("%s imports %s, which the map does not allow", name, dep)
			}
		}
	}
}
