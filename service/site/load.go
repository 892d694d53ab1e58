package site

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"rhizostat/policy/hydraulics"
)

// Reader reads site files. The zero value checks everything but the units of
// foreign readings.
type Reader struct {
	Unit UnitCheck // nil: any unit passes
}

// Load reads the site files that a pattern stands for: a file, a folder (its
// *.yaml and *.yml, not those of folders within), or a glob. It returns the
// sound sites in the order of their files, and all that there is to say. A site
// with a mistake is left out, and so is a second one of the same name.
func (rd Reader) Load(pattern string) ([]*Site, Diagnostics) {
	files, err := expand(pattern)
	if err != nil {
		return nil, Diagnostics{{File: pattern, Summary: "no site file can be read here", Expected: "a site file, a folder of them, or a glob", Cause: err}}
	}
	var sites []*Site
	var all Diagnostics
	first := map[string]string{}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			all = append(all, Diagnostic{File: file, Summary: "the file cannot be read", Cause: reason(err)})
			continue
		}
		s, said := rd.Parse(file, data)
		all = append(all, said...)
		if s == nil {
			continue
		}
		if other, doubled := first[s.Name]; doubled {
			all = append(all, Diagnostic{File: file, Path: "site", Summary: fmt.Sprintf("the site %s is also in %s", s.Name, other),
				Expected: "one file a site", Hint: "put all zones of a site in one file"})
			continue
		}
		first[s.Name] = file
		sites = append(sites, s)
	}
	return sites, all
}

// Parse reads the bytes of one file; name is what the diagnostics call it. The
// site is nil when there is a mistake.
func (rd Reader) Parse(name string, data []byte) (*Site, Diagnostics) {
	r := &reader{file: name, spend: budget(len(data))}
	node := r.parseYAML(data)
	if node == nil {
		return nil, r.said.sorted()
	}
	root := &value{key: &document, at: node}
	r.read(root, node)
	b := &builder{reader: r, root: root, site: &Site{File: name}, checkUnit: rd.Unit,
		substrates: map[string]hydraulics.Substrate{}, containers: map[string]hydraulics.Container{}, profiles: map[pot]*hydraulics.Profile{}, warned: map[string]bool{}}
	s := b.build()
	said := r.said.sorted()
	if said.Mistakes() > 0 {
		return nil, said
	}
	return s, said
}

// Load is Load of the zero Reader.
func Load(pattern string) ([]*Site, Diagnostics) { return Reader{}.Load(pattern) }

// Parse is Parse of the zero Reader.
func Parse(name string, data []byte) (*Site, Diagnostics) { return Reader{}.Parse(name, data) }

// expand lists the files of a pattern, sorted.
func expand(pattern string) ([]string, error) {
	info, err := os.Stat(pattern)
	switch {
	case err == nil && !info.IsDir():
		return []string{pattern}, nil
	case err == nil:
		return folder(pattern)
	case !errors.Is(err, fs.ErrNotExist):
		return nil, reason(err)
	}
	files, err := filepath.Glob(pattern)
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, errors.New("no such file, and no file that it matches as a glob")
	}
	return files, nil
}

// folder lists the site files of a folder.
func folder(path string) ([]string, error) {
	entries, err := os.ReadDir(path)
	if err != nil {
		return nil, reason(err)
	}
	var files []string
	for _, e := range entries {
		// Names with a leading dot are an editor's or a mounted volume's own.
		if ext := filepath.Ext(e.Name()); !e.IsDir() && e.Name()[0] != '.' && (ext == ".yaml" || ext == ".yml") {
			files = append(files, filepath.Join(path, e.Name()))
		}
	}
	if len(files) == 0 {
		return nil, errors.New("the folder has no *.yaml or *.yml")
	}
	slices.Sort(files)
	return files, nil
}

// reason drops the path that an error of the file system repeats.
func reason(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
