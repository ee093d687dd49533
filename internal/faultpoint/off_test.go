//go:build !faultpoints

package faultpoint

import (
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"slices"
	"testing"
)

// What is shipped must be unable to break: Hit does nothing but return nil, and
// whoever ships has nothing else of this package.
func TestHit_IsEmptyInWhatIsShipped(t *testing.T) {
	t.Setenv(Variable, string(JournalBeforeCommit)+"=error@1")
	for _, p := range Points() {
		if err := Hit(p); err != nil {
			t.Errorf("%s: %v", p, err)
		}
	}
	pkg, err := build.ImportDir(".", 0)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"off.go", "points.go"}; !slices.Equal(pkg.GoFiles, want) {
		t.Errorf("shipped are %v, want %v", pkg.GoFiles, want)
	}
	if want := []string{"errors"}; !slices.Equal(pkg.Imports, want) {
		t.Errorf("what is shipped imports %v, want %v", pkg.Imports, want)
	}
	tree, err := parser.ParseFile(token.NewFileSet(), "off.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(tree.Decls) != 1 || !empty(tree.Decls[0]) {
		t.Error("off.go holds something else than a Hit that returns nil")
	}
}

// empty tells whether a declaration is a function that returns nil and nothing else.
func empty(d ast.Decl) bool {
	f, ok := d.(*ast.FuncDecl)
	if !ok || f.Name.Name != "Hit" || len(f.Body.List) != 1 {
		return false
	}
	r, ok := f.Body.List[0].(*ast.ReturnStmt)
	if !ok || len(r.Results) != 1 {
		return false
	}
	value, ok := r.Results[0].(*ast.Ident)
	return ok && value.Name == "nil"
}

func TestPoints_EachHasANameOfItsOwn(t *testing.T) {
	names := slices.Sorted(slices.Values(Points()))
	if n := len(slices.Compact(names)); n != len(Points()) {
		t.Errorf("%d names for %d points", n, len(Points()))
	}
}
