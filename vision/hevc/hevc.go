// Package hevc decodes a still picture of HEVC in a HEIF file. The decoder, libheif
// with libde265, is compiled to WebAssembly: whatever a file makes it do stays
// inside its own bounded memory. SOURCE.md tells where it comes from and how to
// put another in its place. It knows nothing of what a picture shows.
package hevc

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
)

//go:embed heif.wasm.gz
var packed []byte

// memoryPages bounds the decoder's memory: 1 GiB, of 64 KiB pages. 100 megapixels
// in one piece take half of it.
const memoryPages = 16 << 10

// MinSide is the least width and height in px that is decoded. Smaller planes have
// rows of another length than the decoder says.
const MinSide = 128

// ErrDamaged says that the file could not be decoded.
var ErrDamaged = errors.New("hevc: the picture cannot be decoded")

// Picture is YCbCr 4:2:0 of 8 bits, in the range in which it was coded. Rows are
// Stride and ChromaStride bytes long.
type Picture struct {
	Y, Cb, Cr            []byte
	Stride, ChromaStride int
}

// decoder is the compiled program; each decoding runs it in a memory of its own.
type decoder struct {
	runtime wazero.Runtime
	program wazero.CompiledModule
}

var load = sync.OnceValues(func() (*decoder, error) {
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	code, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	ctx := context.Background()
	rt := wazero.NewRuntimeWithConfig(ctx, wazero.NewRuntimeConfig().WithMemoryLimitPages(memoryPages))
	if _, err := wasi_snapshot_preview1.Instantiate(ctx, rt); err != nil {
		return nil, err
	}
	program, err := rt.CompileModule(ctx, code)
	if err != nil {
		return nil, err
	}
	return &decoder{rt, program}, nil
})

// Prepare compiles the decoder, which takes about a second, unless that is done.
func Prepare() error {
	_, err := load()
	return err
}

// Decode decodes the primary picture of a HEIF file, which is w by h pixels of
// 8-bit 4:2:0 as shown, both at least MinSide. Any other file is ErrDamaged.
func Decode(file []byte, w, h int) (*Picture, error) {
	d, err := load()
	if err != nil {
		return nil, fmt.Errorf("hevc: %w", err)
	}
	if w < MinSide || h < MinSide {
		return nil, ErrDamaged
	}
	ctx := context.Background()
	// Nothing is given to the program: no file, clock, output or environment.
	m, err := d.runtime.InstantiateModule(ctx, d.program, wazero.NewModuleConfig().WithName(""))
	if err != nil {
		return nil, fmt.Errorf("hevc: %w", err)
	}
	defer m.Close(ctx)
	return run(ctx, m, file, w, h)
}

// What libheif calls YCbCr and 4:2:0.
const yCbCr, chroma420 = 0, 1

// run calls the program: heif.c in SOURCE.md tells its functions.
func run(ctx context.Context, m api.Module, file []byte, w, h int) (*Picture, error) {
	call := func(name string, args ...uint64) uint32 {
		out, err := m.ExportedFunction(name).Call(ctx, args...)
		if err != nil || len(out) != 1 {
			return 0
		}
		return uint32(out[0])
	}
	p := &Picture{Stride: aligned(w), ChromaStride: aligned((w + 1) / 2)}
	luma, chroma := p.Stride*h, p.ChromaStride*((h+1)/2)
	const words = 5 // width, height, colour space, chroma, premultiplied
	in, says, out := call("malloc", uint64(len(file))), call("malloc", 4*words), call("malloc", uint64(luma+2*chroma))
	if in == 0 || says == 0 || out == 0 || !m.Memory().Write(in, file) {
		return nil, ErrDamaged
	}
	decode := func(configOnly uint64) bool {
		at := func(n uint32) uint64 { return uint64(says + 4*n) }
		if call("decode", uint64(in), uint64(len(file)), configOnly, at(0), at(1), at(2), at(3), at(4), uint64(out)) != 1 {
			return false
		}
		for n, want := range []uint32{uint32(w), uint32(h), yCbCr, chroma420} {
			if got, ok := m.Memory().ReadUint32Le(says + 4*uint32(n)); !ok || got != want {
				return false
			}
		}
		return true
	}
	// What it will write is asked first, so that it fits.
	if !decode(1) || !decode(0) {
		return nil, ErrDamaged
	}
	data, ok := m.Memory().Read(out, uint32(luma+2*chroma))
	if !ok {
		return nil, ErrDamaged
	}
	data = bytes.Clone(data) // the program's memory goes with it
	p.Y, p.Cb, p.Cr = data[:luma], data[luma:luma+chroma], data[luma+chroma:]
	return p, nil
}

// aligned is the length of a row of n samples.
func aligned(n int) int { return (n + 15) &^ 15 }
