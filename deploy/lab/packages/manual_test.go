package packages_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Each page formats without a word from groff, and the package brings one for
// the program and for each command.
func TestManual(t *testing.T) {
	need(t, "man", "dpkg-deb")
	pages, err := filepath.Glob(filepath.Join(unpacked(t, "amd64"), "usr/share/man/man?/*.gz"))
	if err != nil {
		t.Fatal(err)
	}
	seen := make(map[string]bool)
	for _, page := range pages {
		name := strings.TrimSuffix(strings.TrimSuffix(filepath.Base(page), ".gz"), filepath.Ext(strings.TrimSuffix(page, ".gz")))
		seen[name] = true
		var stdout, stderr strings.Builder
		c := exec.CommandContext(t.Context(), "man", "--warnings=all", "--local-file", page)
		c.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "MANWIDTH=80", "MANPAGER=cat")
		c.Stdout, c.Stderr = &stdout, &stderr
		if err := c.Run(); err != nil || stderr.Len() > 0 {
			t.Errorf("man %s: %v\n%s", name, err, stderr.String())
		}
		if !strings.Contains(strings.Join(strings.Fields(stdout.String()), " "), " NAME "+name+" - ") {
			t.Errorf("the page of %s does not name it:\n%s", name, stdout.String())
		}
	}
	for _, name := range []string{"boundwalk", "boundwalk-run", "boundwalk-show", "boundwalk-check", "boundwalk-demo", "boundwalk-plan"} {
		if !seen[name] {
			t.Errorf("no page for %s among %q", name, pages)
		}
	}
}

// Completion as bash-completion loads it: by the command's name, from where the
// package puts it. Only readline's part is left out: compopt speaks to it.
func TestBashCompletion(t *testing.T) {
	need(t, "bash", "dpkg-deb")
	const library = "/usr/share/bash-completion/bash_completion"
	if _, err := os.Stat(library); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("needs bash-completion: %v", err)
		}
		t.Skipf("needs bash-completion: %v", err)
	}
	root := unpacked(t, "amd64")
	const script = `
		. "$1"
		PATH=$2/usr/bin:$PATH XDG_DATA_DIRS=$2/usr/share XDG_DATA_HOME=$2/none
		compopt() { :; }
		_completion_loader boundwalk
		function=$(complete -p boundwalk | sed 's/.* -F \([^ ]*\) .*/\1/')
		COMP_LINE=$3 COMP_POINT=${#3} COMP_TYPE=9 COMP_KEY=9
		read -ra COMP_WORDS <<< "$3"
		COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
		"$function" boundwalk "${COMP_WORDS[-1]}" boundwalk
		printf '%s\n' "${COMPREPLY[@]%% *}"`
	for line, want := range map[string]string{"boundwalk sh": "show", "boundwalk show po": "ports", "boundwalk --pl": "--plan"} {
		got := output(t, "bash", "--norc", "-c", script, "bash", library, root, line)
		if !strings.Contains("\n"+got, "\n"+want) {
			t.Errorf("%q completes to %q, want %q", line, got, want)
		}
	}
}
