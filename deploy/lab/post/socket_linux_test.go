package post

import (
	"os"
	"os/exec"
	"os/user"
	"strings"
	"testing"
)

// group is the number of a group of the machine.
func group(t *testing.T, name string) string {
	t.Helper()
	g, err := user.LookupGroup(name)
	must(t, err)
	return g.Gid
}

// Who is not in the socket's group is refused in clear words, which name the
// group; the plan he may read.
func TestSocketClosedToOthers(t *testing.T) {
	o := openOffice(t)
	o.plan(sound, "  group: postfix")
	d := o.serve()
	for name, mode := range map[string]os.FileMode{"plan.yaml": 0o644, ".": 0o755, "..": 0o755} {
		must(t, os.Chmod(o.path(name), mode))
	}
	as := func(groups string) string {
		cmd := o.command("run")
		cmd.Args = append([]string{"setpriv", "--reuid=65534", "--regid=65534", groups}, cmd.Args[4:]...) // no namespace: a user makes none
		var err error
		cmd.Path, err = exec.LookPath("setpriv")
		must(t, err)
		out, _ := cmd.CombinedOutput() // its words are looked at
		return strings.Join(strings.Fields(string(out)), " ")
	}
	if said := as("--clear-groups"); !strings.Contains(said, `it is open to the group "postfix"`) || strings.Contains(d.said(), "asked=person") {
		t.Errorf("a stranger is told: %s\n%s", said, d.said())
	}
	if said := as("--groups=" + group(t, "postfix")); !strings.Contains(said, "weak-snmp/site") || !strings.Contains(d.said(), "asked=person") {
		t.Errorf("a member is told: %s\n%s", said, d.said())
	}
}
