package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
)

// An outFile is one file to be written: first under a temporary name beside
// its own, so that an old file is there until the new one is complete.
type outFile struct {
	name   string // as the user gave it
	target string // where it goes, links followed
	temp   string // empty when nothing is staged
	direct bool   // a pipe or a device: written to as it is
}

// newOutFile checks a name before any work is done: what cannot be written is
// said at once. input is the file that is read, nil for none.
func newOutFile(name string, input fs.FileInfo) (*outFile, error) {
	o := &outFile{name: name, target: name}
	if t, err := filepath.EvalSymlinks(name); err == nil {
		o.target = t
	}
	dir := filepath.Dir(o.target)
	switch d, err := os.Stat(dir); {
	case err != nil:
		return nil, fmt.Errorf("%s: cannot write there: %s (make the folder first)", name, reason(err))
	case !d.IsDir():
		return nil, fmt.Errorf("%s: cannot write there: %s is not a folder", name, dir)
	}
	info, err := os.Stat(o.target)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return o, nil
	case err != nil:
		return nil, fmt.Errorf("%s: cannot write there: %s", name, reason(err))
	case info.IsDir():
		return nil, fmt.Errorf("%s: is a folder (give a file name)", name)
	case input != nil && os.SameFile(info, input):
		return nil, fmt.Errorf("%s: is the file that is read (give another name)", name)
	case !info.Mode().IsRegular():
		o.direct = true
	case info.Mode().Perm()&0o222 == 0:
		return nil, fmt.Errorf("%s: is read-only (change its permissions or give another name)", name)
	}
	return o, nil
}

// stageAll writes the contents of files under temporary names, each in the same
// folder where there is a file to be replaced, and waits until they are on the
// disk. The first stands for all where something goes wrong with their contents.
func stageAll(ctx context.Context, files []*outFile, content func([]io.WriteSeeker) error) error {
	var open []*os.File
	var ws []io.WriteSeeker
	fail := func(err error) error {
		for _, f := range open {
			f.Close()
		}
		for _, o := range files {
			o.discard()
		}
		return err
	}
	for _, o := range files {
		f, err := o.create()
		if err != nil {
			return fail(fmt.Errorf("%s: cannot write there: %s", o.name, reason(err)))
		}
		o.temp = f.Name()
		open, ws = append(open, f), append(ws, interruptible{f, ctx})
	}
	if err := content(ws); err != nil {
		return fail(fmt.Errorf("%s: not written: %w", files[0].name, reasonError(err)))
	}
	for i, o := range files {
		err := open[i].Sync()
		if e := open[i].Close(); err == nil {
			err = e
		}
		if err == nil && !o.direct {
			if info, e := os.Stat(o.target); e == nil {
				err = os.Chmod(o.temp, info.Mode().Perm())
			}
		}
		if err != nil {
			return fail(fmt.Errorf("%s: not written: %w", o.name, reasonError(err)))
		}
	}
	return nil
}

// interruptible is a file that refuses to grow once the context has ended. It
// shows no other way of writing.
type interruptible struct {
	f   *os.File
	ctx context.Context
}

func (i interruptible) Write(p []byte) (int, error) {
	if i.ctx.Err() != nil {
		return 0, errInterrupted
	}
	return i.f.Write(p)
}

func (i interruptible) Seek(offset int64, whence int) (int64, error) { return i.f.Seek(offset, whence) }

var errInterrupted = errors.New("interrupted")

// create opens a new file beside the target with the permissions any new file
// has here.
func (o *outFile) create() (*os.File, error) {
	if o.direct {
		return os.CreateTemp("", "thumbline-*.tmp")
	}
	dir, base := filepath.Split(o.target)
	for i := 0; ; i++ {
		name := dir + "." + base + "." + strconv.Itoa(os.Getpid()) + "-" + strconv.Itoa(i) + ".tmp"
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if i < 100 && errors.Is(err, fs.ErrExist) {
			continue
		}
		return f, err
	}
}

// commit gives the staged file its name.
func (o *outFile) commit() error {
	var err error
	if o.direct {
		err = pour(o.target, o.temp)
		o.discard()
	} else {
		err = os.Rename(o.temp, o.target)
	}
	if err != nil {
		o.discard()
		return fmt.Errorf("%s: not written: %w", o.name, reasonError(err))
	}
	o.temp = ""
	return nil
}

// pour copies a file into a pipe or a device.
func pour(target, from string) error {
	src, err := os.Open(from)
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := os.OpenFile(target, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = io.Copy(dst, src)
	if e := dst.Close(); err == nil {
		err = e
	}
	return err
}

// discard removes what was staged. The old file was never touched.
func (o *outFile) discard() {
	if o.temp != "" {
		os.Remove(o.temp)
		o.temp = ""
	}
}

// An output is a file, with those that are written beside it in one go, and
// what goes into them.
type output struct {
	file    *outFile
	beside  []*outFile
	content func(io.WriteSeeker) error
	// stems is the content where there are files beside it.
	stems func(whole io.WriteSeeker, beside []io.WriteSeeker) error
}

func (o *output) files() []*outFile { return append([]*outFile{o.file}, o.beside...) }

func (o *output) fill(ws []io.WriteSeeker) error {
	if len(o.beside) > 0 {
		return o.stems(ws[0], ws[1:])
	}
	return o.content(ws[0])
}

// writeAll writes every output or, when one cannot be made, none.
func writeAll(ctx context.Context, outs []output) error {
	var all []*outFile
	for _, o := range outs {
		all = append(all, o.files()...)
	}
	defer func() {
		for _, f := range all {
			f.discard()
		}
	}()
	for _, o := range outs {
		if err := stageAll(ctx, o.files(), o.fill); err != nil {
			return err
		}
	}
	for _, f := range all {
		if err := f.commit(); err != nil {
			return err
		}
	}
	return nil
}

// reason is the last part of a file error, without the names and calls that
// the line before it tells.
func reason(err error) string { return reasonError(err).Error() }

func reasonError(err error) error {
	var p *fs.PathError
	var l *os.LinkError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return errors.New("no such file or folder")
	case errors.Is(err, fs.ErrPermission):
		return errors.New("no permission")
	case errors.As(err, &p):
		return p.Err
	case errors.As(err, &l):
		return l.Err
	}
	return err
}
