package wire

import (
	"embed"
	"fmt"
	"strings"
)

//go:embed schemas/*.json
var schemas embed.FS

// AsyncAPI is the AsyncAPI 3.0 document of all topics; its message payloads
// refer to the schemas by relative path.
//
//go:embed asyncapi.yaml
var AsyncAPI []byte

// SchemaBase is what the $id of every schema begins with. It is a name and not
// an address: the top-level domain is reserved for that (RFC 2606).
const SchemaBase = "https://rhizostat.invalid/schemas/"

// SchemaNames are the messages that have a schema, sorted.
func SchemaNames() []string {
	entries, err := schemas.ReadDir("schemas")
	if err != nil {
		panic(fmt.Sprintf("wire: the embedded schemas cannot be read: %v", err))
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), ".json")
	}
	return names
}

// Schema gives the JSON Schema (2020-12) of a message by its name, as in
// SchemaNames.
func Schema(name string) ([]byte, error) {
	b, err := schemas.ReadFile("schemas/" + name + ".json")
	if err != nil {
		return nil, fmt.Errorf("wire: there is no schema %q; expected one of %s", name, strings.Join(SchemaNames(), ", "))
	}
	return b, nil
}

// SchemaOf names the schema that the payloads of a kind of topic keep to; name
// is Place.Name.
func SchemaOf(kind Kind, name string) string {
	switch {
	case kind == KindDecisionResult:
		return "decision-result"
	case kind == KindSetpoint && name != "":
		return "setpoint-number"
	}
	return string(kind)
}
