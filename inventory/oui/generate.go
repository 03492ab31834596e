//go:build ignore

// This program packs the IEEE registries of the folder given, as Debian's
// package ieee-data has them, into registry.bin. The date is that of the
// folder's .lastupdate (Unix seconds).
package main

import (
	"bytes"
	"io"
	"log"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"boundwalk/inventory/oui"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 2 {
		log.Fatal("usage: go run generate.go FOLDER")
	}
	folder := os.Args[1]
	var text []io.Reader
	for _, name := range []string{"oui.csv", "mam.csv", "oui36.csv", "iab.csv"} {
		b, err := os.ReadFile(filepath.Join(folder, name))
		check(err)
		text = append(text, bytes.NewReader(b))
	}
	registry, err := oui.Load(io.MultiReader(text...))
	check(err)
	stamp, err := os.ReadFile(filepath.Join(folder, ".lastupdate"))
	check(err)
	seconds, err := strconv.ParseInt(strings.TrimSpace(string(stamp)), 10, 64)
	check(err)
	registry.Date = time.Unix(seconds, 0).UTC().Truncate(24 * time.Hour)
	packed, err := registry.Pack()
	check(err)
	check(os.WriteFile("registry.bin", packed, 0o644))
	log.Printf("%d assignments of %s in %d octets", registry.Len(), registry.Date.Format(time.DateOnly), len(packed))
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
