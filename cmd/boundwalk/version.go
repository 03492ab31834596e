package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"time"

	"boundwalk/inventory/oui"
)

// version is set by the packages; a build from source says its commit.
var version = ""

func versionText() string {
	v := version
	if info, ok := debug.ReadBuildInfo(); ok && v == "" {
		v = info.Main.Version
		if v == "" || v == "(devel)" {
			v = "from source"
		}
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				v += " " + s.Value[:12]
			}
		}
	}
	return fmt.Sprintf("boundwalk %s (%s, %s/%s)", v, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// registryDate is the day of the copy of the IEEE registries that is built in:
// makers of a later day have no name without --registry.
func registryDate() string { return oui.Builtin().Date.Format(time.DateOnly) }
