package service

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"strconv"
	"strings"
	"testing"
)

// Folders of the shell do not know one another: service.go joins them by plain
// values and functions. All may speak the words of the wire.
func TestFoldersDoNotKnowOneAnother(t *testing.T) {
	set := token.NewFileSet()
	err := fs.WalkDir(os.DirFS("."), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return err
		}
		folder := path.Dir(name)
		file, err := parser.ParseFile(set, name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, imp := range file.Imports {
			to, err := strconv.Unquote(imp.Path.Value)
			if err != nil {
				return err
			}
			other, ours := strings.CutPrefix(to, "rhizostat/service")
			other = strings.TrimPrefix(other, "/")
			if !ours || folder == "." || other == folder || other == "wire" && folder != "wire" {
				continue
			}
			t.Errorf("%s imports %q: folders of the shell are joined in service.go, not to one another", name, to)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
