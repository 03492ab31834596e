//go:build !linux

package netns

// Do fails the test: only Linux has network namespaces.
func (n *Namespace) Do(func()) {
	n.t.Helper()
	n.t.Fatal("only Linux has network namespaces")
}
