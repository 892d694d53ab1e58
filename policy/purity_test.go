package policy

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// banned are the imports that would make the engine impure, each with its
// reason.
var banned = map[string]string{
	"os":           "the engine reads no files and no environment",
	"io/ioutil":    "the engine does no I/O",
	"net":          "the engine does no I/O",
	"net/http":     "the engine does no I/O",
	"log":          "the engine does not log: what matters is an output",
	"log/slog":     "the engine does not log: what matters is an output",
	"math/rand":    "the same events give the same advice",
	"math/rand/v2": "the same events give the same advice",
	"crypto/rand":  "the same events give the same advice",
	"sync":         "one goroutine owns a zone",
	"sync/atomic":  "one goroutine owns a zone",
	"context":      "the engine never waits",
	"maps":         "map order is not an order",
}

// arrows says which folders of the engine a folder may import.
var arrows = map[string][]string{
	"advice":     {},
	"simulator":  {},
	"climate":    {},
	"hydraulics": {},
	"sensing":    {"climate", "hydraulics"},
	"learning":   {"sensing", "climate", "hydraulics"},
	"forecast":   {"learning", "sensing", "climate", "hydraulics"},
	"plan":       {"advice", "forecast", "learning", "sensing", "climate", "hydraulics"},
	"diagnose":   {"advice", "forecast", "learning", "sensing", "climate", "hydraulics"},
	"guard":      {"advice", "hydraulics"},
}

func TestEngineIsPure(t *testing.T) {
	eachFile(t, func(path string, file *ast.File, set *token.FileSet) {
		for _, imp := range file.Imports {
			name, err := strconv.Unquote(imp.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			if why, bad := banned[name]; bad {
				t.Errorf("%s imports %q: %s", path, name, why)
			}
			if name == "testing" || strings.HasPrefix(name, "rhizostat/policy/internal") {
				t.Errorf("%s imports %q: what supports tests stays in tests", path, name)
			}
			if strings.HasPrefix(name, "rhizostat/service") || strings.HasPrefix(name, "rhizostat/cmd") {
				t.Errorf("%s imports %q: the engine does not know the shell", path, name)
			}
			folder := filepath.Dir(path)
			if folder == "." {
				continue
			}
			if name == "rhizostat/policy" {
				t.Errorf("%s imports the front door: folders take small structs of their own", path)
			}
			if to, ours := strings.CutPrefix(name, "rhizostat/policy/"); ours && !contains(arrows[folder], to) {
				t.Errorf("%s imports %q: imports point one way, %s may use %v", path, name, folder, arrows[folder])
			}
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				t.Errorf("%s starts a goroutine: one goroutine owns a zone", set.Position(n.Pos()))
			case *ast.SelectorExpr:
				if pkg, ok := n.X.(*ast.Ident); ok && pkg.Name == "time" {
					switch n.Sel.Name {
					case "Now", "Since", "Until", "After", "Tick", "NewTimer", "NewTicker", "Sleep", "Local":
						t.Errorf("%s uses time.%s: time comes in with events", set.Position(n.Pos()), n.Sel.Name)
					}
				}
			}
			return true
		})
	})
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

// eachFile parses every file of the engine that is not a test; what lies under
// internal supports tests, which may read files.
func eachFile(t *testing.T, do func(path string, file *ast.File, set *token.FileSet)) {
	t.Helper()
	set := token.NewFileSet()
	err := fs.WalkDir(os.DirFS("."), ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && path == "internal" {
			return fs.SkipDir
		}
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		do(path, file, set)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
