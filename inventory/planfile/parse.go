package planfile

import (
	"errors"
	"fmt"
	"io"
	"os"

	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
)

// File is a plan file: its text, and the plan that the text says. It is not
// changed once made, so many may use it at once.
type File struct {
	Plan *inventory.Plan // never nil

	name   string
	src    []byte
	root   *yaml.Node
	places []source // beside Plan.Devices
	models map[string]source
	cable  *yaml.Node
}

// Parse reads a plan from the bytes of a file; name is what problems call it.
// The error is Problems, all of them; with an error there is no File.
func Parse(name string, b []byte) (*File, error) {
	r := &reader{name: name}
	root := r.load(b)
	if root == nil {
		return nil, r.result()
	}
	plan := basePlan
	if pairs, ok := r.mapping(root, "a plan, which is a mapping of keys,"); ok {
		planKeys.read(r, root, pairs, &plan)
		r.check(&plan)
	}
	if err := r.result(); err != nil {
		return nil, err
	}
	plan.Index()
	return &File{Plan: &plan, name: name, src: b, root: root, places: r.devices, models: r.models, cable: r.cable}, nil
}

// ReadFile reads the plan file at path. What is larger than MaxSize is not read
// to its end.
func ReadFile(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read plan: %w", err)
	}
	b, err := io.ReadAll(io.LimitReader(f, MaxSize+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, fmt.Errorf("read plan: %w", err)
	}
	if len(b) > MaxSize {
		return nil, Problems{{File: path, What: fmt.Sprintf("the plan is larger than %d bytes (1 MiB): it is not read", MaxSize)}}
	}
	return Parse(path, b)
}

// Text is the file's bytes, not to be changed.
func (f *File) Text() []byte { return f.src }
