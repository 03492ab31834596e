package planfile

import (
	"encoding/json"

	"github.com/invopop/jsonschema"
)

// Schema is the JSON Schema (draft 2020-12) of the plan file, made from the
// table of keys that Parse reads by. Editors check and complete by it; it is
// looser than Parse, which also knows what names refer to. The file
// plan.schema.json beside this package holds the same bytes.
func Schema() []byte {
	s := planKeys.schema()
	s.Version = jsonschema.Version
	s.Title = "boundwalk plan"
	b, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		panic("planfile: schema: " + err.Error()) // cannot happen: the tables are fixed
	}
	return append(b, '\n')
}
