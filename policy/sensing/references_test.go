package sensing

import (
	"os"
	"testing"

	"rhizostat/policy/internal/references"
)

// page counts what is held against published and computed values.
var page = references.Page{File: "sensing.md", Title: "Calibration, salinity", Folder: "policy/sensing"}

func TestMain(m *testing.M) { os.Exit(page.Main(m)) }
