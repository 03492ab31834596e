package yard

import (
	"os"
	"testing"

	"boundwalk/deploy/lab/bridgemib"
	"boundwalk/deploy/lab/program"
)

func TestMain(m *testing.M) {
	if bridgemib.Extend() {
		return
	}
	os.Exit(program.Main(m))
}
