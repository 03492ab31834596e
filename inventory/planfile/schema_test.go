package planfile_test

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory/planfile"
)

func TestSchemaFileIsMadeFromTheTables(t *testing.T) {
	const path = "plan.schema.json"
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(path, planfile.Schema(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(b, planfile.Schema()) {
		t.Errorf("%s differs from what the tables make: UPDATE=1 go test writes it anew", path)
	}
}

func compileSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(planfile.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("plan.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("plan.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON is what an editor makes of the YAML before it validates.
func asJSON(t *testing.T, b []byte) any {
	t.Helper()
	var v any
	if err := yaml.Load(b, &v); err != nil {
		t.Fatal(err)
	}
	var strung func(v any) any
	strung = func(v any) any {
		switch v := v.(type) {
		case map[string]any:
			for k := range v {
				v[k] = strung(v[k])
			}
			return v
		case map[any]any:
			m := map[string]any{}
			for k := range v {
				m[fmt.Sprint(k)] = strung(v[k])
			}
			return m
		case []any:
			for i := range v {
				v[i] = strung(v[i])
			}
		}
		return v
	}
	return strung(v)
}

func TestPlansFitTheSchema(t *testing.T) {
	s := compileSchema(t)
	for _, path := range []string{"../../deploy/example/plan.yaml", "testdata/full.yaml"} {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(asJSON(t, b)); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestTheSchemaRefuses(t *testing.T) {
	s := compileSchema(t)
	for name, device := range map[string]string{
		"an unknown key":                 "{roel: camera}",
		"an unknown role":                "{role: kamera}",
		"a number without its unit":      "{budget: 130}",
		"a wrong unit":                   "{budget: 130 V}",
		"a MAC with a short group":       `{mac: "00:00:5e:0:53:1"}`,
		"a class beyond 8":               "{class: 9}",
		"yes for true":                   `{important: "yes"}`,
		"a feed that is no standard":     "{feeds: 802.3bt}",
		"an unknown key of a nested one": "{cable: {lenght: 4 m}}",
	} {
		if err := s.Validate(asJSON(t, []byte(frame("  cam: "+device+"\n")))); err == nil {
			t.Errorf("%s passes", name)
		}
	}
	if err := s.Validate(asJSON(t, []byte(frame("  cam: {role: camera}\n")))); err != nil {
		t.Errorf("the frame alone: %v", err)
	}
	if err := s.Validate(asJSON(t, []byte(strings.Replace(frame(""), "devices:", "things:", 1)))); err == nil {
		t.Error("a plan without devices passes")
	}
}
