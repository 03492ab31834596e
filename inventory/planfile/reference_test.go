package planfile_test

import (
	"slices"
	"strings"
	"testing"

	"boundwalk/inventory/planfile"
)

// Every key that the plan of all keys uses is listed once, with what it is for.
func TestReference(t *testing.T) {
	have := map[string]bool{}
	for _, s := range planfile.Reference() {
		for _, e := range s.Keys {
			path := strings.TrimPrefix(s.Path+"."+e.Key, ".")
			if have[path] {
				t.Errorf("%s is listed twice", path)
			}
			have[path] = true
			if !strings.HasSuffix(e.Doc, ".") && !strings.HasSuffix(e.Doc, ")") {
				t.Errorf("%s: %q is no sentence", path, e.Doc)
			}
		}
	}
	for _, want := range []string{"site.name", "networks.NAME.subnet", "access.NAME.secrets.auth", "devices.NAME.at", "devices.NAME.cable.length",
		"devices.NAME.ports.NUMBER.pse", "devices.NAME.factory_login.proof", "radio_links.NAME.between", "service.mail.to.short", "sources.leases.path"} {
		if !have[want] {
			t.Errorf("%s is not listed", want)
		}
	}
	if i := slices.IndexFunc(planfile.Reference(), func(s planfile.Section) bool { return s.Path == "models.NAME" }); i >= 0 {
		t.Error("the keys of a model are listed beside those of a device")
	}
}
