package store

import (
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coatbook/migrations"
)

var (
	droppedRule = regexp.MustCompile(`(?i)\bDROP CONSTRAINT\s+([a-z_0-9]+)`)
	namedRule   = regexp.MustCompile(`(?i)\bCONSTRAINT\s+([a-z_0-9]+)\s+(PRIMARY KEY|UNIQUE|CHECK|FOREIGN KEY|EXCLUDE)`)
	uniqueIndex = regexp.MustCompile(`(?i)\bCREATE UNIQUE INDEX\s+([a-z_0-9]+)`)
	renamedRule = regexp.MustCompile(`(?i)\bRENAME CONSTRAINT\s+([a-z_0-9]+)\s+TO\s+([a-z_0-9]+)`)
	bareRule    = regexp.MustCompile(`(?i)^\s*(CHECK|UNIQUE|FOREIGN KEY)\b|\)\s*CHECK\b`)
)

// schemaRules returns the names of all rules of the schema that can refuse what a person enters. Primary keys are made of
// ids that the program gives.
func schemaRules(t *testing.T) []string {
	t.Helper()
	files, err := fs.Glob(migrations.Files, "*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("migrations: %d files, %v", len(files), err)
	}
	var names []string
	for _, file := range files {
		sql, err := migrations.Files.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		// A later migration may drop a rule; most add it again in another form.
		for _, match := range droppedRule.FindAllStringSubmatch(string(sql), -1) {
			names = slices.DeleteFunc(names, func(name string) bool { return name == match[1] })
		}
		for _, match := range renamedRule.FindAllStringSubmatch(string(sql), -1) {
			if i := slices.Index(names, match[1]); i >= 0 {
				names[i] = match[2]
			}
		}
		for _, match := range namedRule.FindAllStringSubmatch(string(sql), -1) {
			if !strings.EqualFold(match[2], "PRIMARY KEY") {
				names = append(names, match[1])
			}
		}
		for _, match := range uniqueIndex.FindAllStringSubmatch(string(sql), -1) {
			names = append(names, match[1])
		}
		for i, line := range strings.Split(string(sql), "\n") {
			if bareRule.MatchString(line) && !strings.Contains(line, "CONSTRAINT") {
				t.Errorf("%s:%d: a rule without a name: %s", file, i+1, strings.TrimSpace(line))
			}
		}
	}
	return names
}

func TestEveryRuleOfTheSchemaHasASentence(t *testing.T) {
	names := schemaRules(t)
	if len(names) < 100 {
		t.Fatalf("found %d rules in the migrations, want over 100: the search is broken", len(names))
	}
	for _, name := range names {
		sentence, ok := constraintSentences[name]
		if !ok {
			t.Errorf("no sentence for %s", name)
		} else if !strings.HasSuffix(sentence, ".") || len(sentence) < 20 {
			t.Errorf("%s: %q is not a sentence", name, sentence)
		}
	}
}

func TestEverySentenceBelongsToARule(t *testing.T) {
	names := schemaRules(t)
	for name := range constraintSentences {
		if !slices.Contains(names, name) {
			t.Errorf("sentence for %s, which no migration has", name)
		}
	}
}
