package web

import (
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coatbook/store"
	"coatbook/store/storetest"
)

// A statement of the store is a constant, or constants put together: no value ever becomes part of it.
func TestEveryStatementOfTheStoreIsMadeOfConstants(t *testing.T) {
	files := token.NewFileSet()
	names, err := filepath.Glob("../store/*.go")
	if err != nil {
		t.Fatal(err)
	}
	var code []ast.Node
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(files, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		code = append(code, file)
	}
	statement := regexp.MustCompile(`(?i)^\s*(WITH|SELECT|INSERT|UPDATE|DELETE)\s`)
	fixed := fixedNames(code)
	fixed["file"] = true  // of exportFile: a row of the table of exports
	fixed["texts"] = true // of together: statements, each of them looked at where it is written
	found := 0
	look := func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			terms := terms(n)
			if first, ok := terms[0].(*ast.BasicLit); n.Op == token.ADD && ok && first.Kind == token.STRING && statement.MatchString(strings.Trim(first.Value, "`\"")) {
				found++
				for _, term := range terms {
					if literal, ok := term.(*ast.BasicLit); ok && literal.Kind == token.STRING {
						continue
					}
					if !fixed[root(term)] {
						t.Errorf("%s: a statement is put together with %s, which is no constant", files.Position(term.Pos()), at(term))
					}
				}
				return false
			}
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && strings.HasPrefix(s.Sel.Name, "Sprint") && len(n.Args) > 0 {
				if literal, ok := n.Args[0].(*ast.BasicLit); ok && statement.MatchString(strings.Trim(literal.Value, "`\"")) {
					t.Errorf("%s: a statement is printed with values in it", files.Position(n.Pos()))
				}
			}
		}
		return true
	}
	for _, file := range code {
		ast.Inspect(file, look)
	}
	if found < 10 {
		t.Errorf("only %d statements were looked at", found)
	}
	shop := storetest.NewShop(t)
	const hostile = "x'); drop table part"
	_, err = shop.DB.AddPerson(t.Context(), shop.Everyone, store.NewPerson{Name: hostile, SignOnName: "drop", Roles: []string{store.Auditor}})
	if err != nil {
		t.Fatal(err)
	}
	people, err := shop.DB.People(t.Context(), shop.Site.ID)
	if err != nil || !slices.ContainsFunc(people, func(p store.Person) bool { return p.Name == hostile }) {
		t.Errorf("%q is not stored as text: %v", hostile, err)
	}
}

// terms are the operands of a chain of additions.
func terms(e ast.Expr) []ast.Expr {
	if b, ok := e.(*ast.BinaryExpr); ok && b.Op == token.ADD {
		return append(terms(b.X), terms(b.Y)...)
	}
	return []ast.Expr{e}
}

// root is the name that an expression starts from: table in table[key], row in row.field.
func root(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.IndexExpr:
		return root(e.X)
	case *ast.SelectorExpr:
		return root(e.X)
	}
	return at(e)
}

// at is an expression in the words of the code.
func at(e ast.Expr) string {
	var b strings.Builder
	_ = printer.Fprint(&b, token.NewFileSet(), e)
	return b.String()
}

// fixedNames are the constants of a package, its tables of constants, and the names that hold what was looked up in one.
func fixedNames(code []ast.Node) map[string]bool {
	fixed := map[string]bool{}
	declared := func(n ast.Node) bool {
		d, ok := n.(*ast.GenDecl)
		if !ok {
			return true
		}
		for _, spec := range d.Specs {
			v, ok := spec.(*ast.ValueSpec)
			for i := 0; ok && i < len(v.Names); i++ {
				table := false
				if i < len(v.Values) {
					_, table = v.Values[i].(*ast.CompositeLit)
				}
				if d.Tok == token.CONST || table {
					fixed[v.Names[i].Name] = true
				}
			}
		}
		return true
	}
	lookedUp := func(n ast.Node) bool {
		if a, ok := n.(*ast.AssignStmt); ok {
			if index, ok := a.Rhs[0].(*ast.IndexExpr); ok && fixed[root(index)] {
				fixed[at(a.Lhs[0])] = true
			}
		}
		return true
	}
	for _, pass := range []func(ast.Node) bool{declared, lookedUp} {
		for _, file := range code {
			ast.Inspect(file, pass)
		}
	}
	return fixed
}
