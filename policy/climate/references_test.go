package climate

import (
	"os"
	"testing"

	"rhizostat/policy/internal/references"
)

// page counts what is held against published and computed values.
var page = references.Page{File: "climate.md", Title: "Air, sun, light and evapotranspiration", Folder: "policy/climate"}

func TestMain(m *testing.M) { os.Exit(page.Main(m)) }
