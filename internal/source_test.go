package internal_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const (
	longestFile       = 500 // lines
	longestFunction   = 60  // lines
	mostParameters    = 5
	clockFreeMessage  = "the time is an argument on this floor"
	environmentByMain = "only the mains read the environment"
)

// clock is what reads or waits for the machine's time.
var clock = []string{"Now", "Since", "Until", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer", "Sleep"}

// environment is what reads the process's surroundings.
var environment = []string{"Getenv", "LookupEnv", "Environ", "ExpandEnv"}

// source is one parsed file of ours.
type source struct {
	name string // from the top of the tree
	pkg  string
	set  *token.FileSet
	tree *ast.File
}

func TestSource_KeepsTheHouseRules(t *testing.T) {
	for _, p := range packages(t) {
		for _, name := range p.GoFiles {
			for _, wrong := range checkSource(parse(t, p, name)) {
				t.Error(wrong)
			}
		}
	}
}

func parse(t *testing.T, p house, name string) source {
	t.Helper()
	set := token.NewFileSet()
	tree, err := parser.ParseFile(set, filepath.Join(p.Dir, name), nil, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	return source{name: p.ImportPath + "/" + name, pkg: p.ImportPath, set: set, tree: tree}
}

// checkSource says what in one file of shipped code is against the rules.
// Generated code is only held to the floors, by its imports.
func checkSource(s source) (wrong []string) {
	if ast.IsGenerated(s.tree) {
		return nil
	}
	complain := func(at token.Pos, format string, args ...any) {
		wrong = append(wrong, fmt.Sprintf("%s:%d: %s", s.name, s.set.Position(at).Line, fmt.Sprintf(format, args...)))
	}
	s.checkNames(complain)
	s.checkCalls(complain)
	for _, d := range s.tree.Decls {
		checkComment(d, complain)
		if f, ok := d.(*ast.FuncDecl); ok {
			s.checkFunction(f, complain)
		}
	}
	return wrong
}

type complaint func(at token.Pos, format string, args ...any)

func (s source) checkNames(complain complaint) {
	if vague(filepath.Base(s.name)) {
		complain(s.tree.Package, "the file's name says nothing of what is inside")
	}
	if lines := s.set.Position(s.tree.FileEnd).Line; lines > longestFile {
		complain(s.tree.Package, "%d lines; %d are the most", lines, longestFile)
	}
}

// checkCalls finds clocks and goroutines on pure floors, and the environment
// everywhere but in the mains.
func (s source) checkCalls(complain complaint) {
	pure := floors[s.pkg] <= purest
	main := s.tree.Name.Name == "main"
	timeName, osName := s.importedAs("time"), s.importedAs("os")
	ast.Inspect(s.tree, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			if pure {
				complain(n.Pos(), "a goroutine on a pure floor")
			}
		case *ast.SelectorExpr:
			if pure && selects(n, timeName, clock) {
				complain(n.Pos(), "time.%s: %s", n.Sel.Name, clockFreeMessage)
			}
			if !main && selects(n, osName, environment) {
				complain(n.Pos(), "os.%s: %s", n.Sel.Name, environmentByMain)
			}
		}
		return true
	})
}

// importedAs is the name by which the file knows a package, or "" when it
// does not import it.
func (s source) importedAs(path string) string {
	for _, i := range s.tree.Imports {
		if i.Path.Value != `"`+path+`"` {
			continue
		}
		if i.Name != nil {
			return i.Name.Name
		}
		return path
	}
	return ""
}

func selects(n *ast.SelectorExpr, pkg string, names []string) bool {
	x, ok := n.X.(*ast.Ident)
	return ok && pkg != "" && x.Name == pkg && slices.Contains(names, n.Sel.Name)
}

func (s source) checkFunction(f *ast.FuncDecl, complain complaint) {
	if f.Name.Name == "init" && f.Recv == nil {
		complain(f.Pos(), "func init runs behind the reader's back; build it in main")
	}
	first, last := s.set.Position(f.Pos()).Line, s.set.Position(f.End()).Line
	if lines := last - first + 1; lines > longestFunction {
		complain(f.Pos(), "%s has %d lines; %d are the most", f.Name.Name, lines, longestFunction)
	}
	if n := f.Type.Params.NumFields(); n > mostParameters && !dictated(f) {
		complain(f.Pos(), "%s has %d parameters; %d are the most", f.Name.Name, n, mostParameters)
	}
}

// dictated says that gRPC lays down how the function looks: an interceptor is
// handed the one that carries on.
func dictated(f *ast.FuncDecl) bool {
	return slices.ContainsFunc(f.Type.Params.List, func(p *ast.Field) bool {
		n, ok := p.Type.(*ast.SelectorExpr)
		return ok && selects(n, "grpc", []string{"UnaryInvoker", "Streamer", "UnaryHandler", "StreamHandler"})
	})
}

// checkComment finds exported names that say nothing of themselves. In a group
// of constants or variables the group's comment speaks for all.
func checkComment(d ast.Decl, complain complaint) {
	switch d := d.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) {
			complain(d.Pos(), "%s has no comment", d.Name.Name)
		}
	case *ast.GenDecl:
		for _, spec := range d.Specs {
			if name := undocumented(spec); name != "" && d.Doc == nil {
				complain(spec.Pos(), "%s has no comment", name)
			}
		}
	}
}

func undocumented(spec ast.Spec) string {
	switch spec := spec.(type) {
	case *ast.TypeSpec:
		if spec.Name.IsExported() && spec.Doc == nil && spec.Comment == nil {
			return spec.Name.Name
		}
	case *ast.ValueSpec:
		for _, name := range spec.Names {
			if name.IsExported() && spec.Doc == nil && spec.Comment == nil {
				return name.Name
			}
		}
	}
	return ""
}

func exportedReceiver(f *ast.FuncDecl) bool {
	if f.Recv == nil {
		return true
	}
	name := strings.Trim(typeName(f.Recv.List[0].Type), "*")
	return ast.IsExported(name)
}

func typeName(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.StarExpr:
		return typeName(e.X)
	case *ast.IndexExpr:
		return typeName(e.X)
	case *ast.Ident:
		return e.Name
	}
	return ""
}

// The checker itself must be able to fail.
func TestSource_TheCheckerFindsWhatIsWrong(t *testing.T) {
	many := strings.Repeat("\t_ = 1\n", longestFunction)
	for _, tc := range []struct{ why, name, code, want string }{
		{"all well", "internal/plan/order.go", "// Order orders.\nfunc Order(a, b int) {}", ""},
		{"clock on a pure floor", "internal/plan/order.go", "import \"time\"\nvar a = time.Now()", clockFreeMessage},
		{"clock under another name", "internal/plan/order.go", "import t \"time\"\nvar a = t.Since", clockFreeMessage},
		{"durations are no clock", "internal/plan/order.go", "import \"time\"\nvar a = time.Second", ""},
		{"clock on a high floor", "internal/station/watch.go", "import \"time\"\nvar a = time.Now()", ""},
		{"goroutine on a pure floor", "internal/rules/judge.go", "func f() {\n\tgo f()\n}", "a goroutine on a pure floor"},
		{"goroutine above", "internal/journal/commit.go", "func f() {\n\tgo f()\n}", ""},
		{"environment below the mains", "internal/rpc/serve.go", "import \"os\"\nvar a = os.Getenv(\"A\")", environmentByMain},
		{"init", "internal/rpc/serve.go", "func init() {}", "func init"},
		{"vague file", "internal/rpc/helpers.go", "var a = 1", "says nothing"},
		{"bare function", "internal/plan/order.go", "func Order() {}", "Order has no comment"},
		{"bare method", "internal/plan/order.go", "type t int\n// T is.\ntype T = t\nfunc (x *T) Order() {}", "Order has no comment"},
		{"method of a private type", "internal/plan/order.go", "type t int\nfunc (x t) Order() {}", ""},
		{"bare type", "internal/plan/order.go", "type Order int", "Order has no comment"},
		{"bare constant", "internal/plan/order.go", "const (\n\tA = 1 // said\n\tB = 2\n)", "B has no comment"},
		{"group with a comment", "internal/plan/order.go", "// Both.\nconst (\n\tA = 1\n\tB = 2\n)", ""},
		{"six parameters", "internal/plan/order.go", "func order(a, b, c, d, e, f int) {}", "6 parameters"},
		{"an interceptor", "internal/rpc/chain.go", "func pass(a, b, c, d, e int, next grpc.Streamer) {}", ""},
		{"long function", "internal/plan/order.go", "func order() {\n" + many + "}", "62 lines"},
		{"long file", "internal/plan/order.go", strings.Repeat("\n", longestFile), "lines; 500 are the most"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			set := token.NewFileSet()
			tree, err := parser.ParseFile(set, tc.name, "package p\n"+tc.code, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			wrong := strings.Join(checkSource(source{tc.name, filepath.Dir(tc.name), set, tree}), "; ")
			if (tc.want == "") != (wrong == "") || !strings.Contains(wrong, tc.want) {
				t.Errorf("the checker says %q, want %q", wrong, tc.want)
			}
		})
	}
}
