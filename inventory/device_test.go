package inventory_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"boundwalk/inventory"
)

func TestFactoryPasswordsDoNotPrint(t *testing.T) {
	l := inventory.FactoryLogin{User: "admin", Password: "s3cret"}
	j, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	for _, out := range []string{fmt.Sprintf("%v %+v %#v", l, l, l), fmt.Sprintf("%s %q %x %d", l.Password, l.Password, l.Password, l.Password), string(j)} {
		if strings.Contains(out, "s3cret") || strings.Contains(out, "733363") || !strings.Contains(out, "(hidden)") {
			t.Errorf("it prints as %q", out)
		}
	}
}
