package main

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/signal"
	"runtime"
	"strings"
	"syscall"
	"time"

	"github.com/skip2/go-qrcode"
	"github.com/spf13/cobra"

	"stripgap/cmd/internal/bench"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
)

const serveHelp = `serve shows a build on a page for the workbench: the bearings with their state,
what to prepare, a button that opens the phone's camera, and the reading as soon as
the photo is in. What is accepted goes into the build's readings.jsonl, as with
stripgap build read. Other commands may look at the build meanwhile, not write to it.

Without --lan only this computer can open the page. With --lan phones on the same
network can too, by the key in the address printed: point the phone's camera at the
printed code. The key and the photos cross the network unencrypted: use a network of
your own, and end the program when the work is done. Nothing goes to the internet.

Interrupt it (Ctrl-C) to end it; photos being read are finished first.`

// serve is what the command line asks of `serve`.
type serve struct {
	listen  string
	lan     bool
	readers int
}

func newServeCommand() *cobra.Command {
	var s serve
	cmd := &cobra.Command{
		Use:   "serve FOLDER",
		Short: "Show a build to phones and read their photos",
		Long:  serveHelp,
		Example: `  stripgap serve engine --lan
  stripgap serve engine --listen 127.0.0.1:8080`,
		Args: oneFolder,
		RunE: func(cmd *cobra.Command, args []string) error { return s.run(cmd, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&s.listen, "listen", "", "`ADDR:PORT` to listen on (default 127.0.0.1:7243, with --lan all addresses)")
	f.BoolVar(&s.lan, "lan", false, "let phones on the same network open the page, with a key")
	f.IntVar(&s.readers, "readers", runtime.GOMAXPROCS(0), "photos read at the same time")
	return cmd
}

// defaultPort is one that no service is registered for.
const defaultPort = "7243"

func (s *serve) run(cmd *cobra.Command, dir string) error {
	address, err := s.address()
	if err != nil {
		return err
	}
	if s.readers < 1 {
		return usagef("--readers %d: must be 1 or more", s.readers)
	}
	f, err := openBuild(cmd, dir)
	if err != nil {
		return err
	}
	defer f.Close()
	if _, err := buildGiven(f.View(), lotsFor(dir)); err != nil {
		return err
	}
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("--listen %s: %w; choose another port or address", address, err)
	}
	return s.serve(cmd, f, listener)
}

// address checks what to listen on.
func (s *serve) address() (string, error) {
	if s.listen == "" && s.lan {
		return ":" + defaultPort, nil
	}
	if s.listen == "" {
		return "127.0.0.1:" + defaultPort, nil
	}
	host, port, err := net.SplitHostPort(s.listen)
	if err != nil || port == "" {
		return "", usagef("--listen %q: must be an address and a port, as in 127.0.0.1:8080", s.listen)
	}
	ip := net.ParseIP(host)
	if !s.lan && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", usagef("--listen %s: others could open the page; say --lan too, which asks them for a key", s.listen)
	}
	return s.listen, nil
}

// serve answers until it is interrupted.
func (s *serve) serve(cmd *cobra.Command, f *folder.Folder, listener net.Listener) error {
	key := ""
	if s.lan {
		key = newKey()
	}
	pool := readers(s.readers, "--prepare")
	defer pool.Close()
	pool.Start()
	// Found anew for each photo: somebody may learn a lot while the page is shown.
	now := func() (pipeline.Given, folder.Lots, error) {
		v := f.View()
		lots := lotsFor(v.Dir)
		given, err := buildGiven(v, lots)
		return given, lots, err
	}
	server := bench.New(bench.Config{Folder: f, Now: now, Readers: s.readers, Key: key, Log: cmd.ErrOrStderr(), Read: pool.Read})
	announce(cmd.OutOrStdout(), listener.Addr(), key)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	h := server.HTTP()
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(listener) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
		stop() // a second interrupt ends the program as it would any other
	}
	server.Close()
	patience, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := h.Shutdown(patience); err != nil && !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// newKey draws 128 bits.
func newKey() string {
	var b [16]byte
	rand.Read(b[:])
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:]))
}

// announce prints where the page is, for a phone as a code too.
func announce(w io.Writer, addr net.Addr, key string) {
	if key == "" {
		fmt.Fprintf(w, "http://%s/\nOnly this computer can open it; say --lan for phones.\n", addr)
		return
	}
	_, port, _ := net.SplitHostPort(addr.String())
	hosts := lanHosts(addr)
	if len(hosts) == 0 {
		fmt.Fprintln(w, "This computer is on no network that a phone could reach it by; connect it, and start again.")
	}
	for i, host := range hosts {
		url := "http://" + net.JoinHostPort(host, port) + "/?key=" + key
		fmt.Fprintln(w, url)
		if code, err := qrcode.New(url, qrcode.Low); err == nil && i == 0 {
			fmt.Fprint(w, code.ToSmallString(false))
		}
	}
	fmt.Fprintln(w, "Point the phone's camera at the code. The phone must be on the same network.")
}

// lanHosts lists the addresses by which others reach what listens at addr, private
// ones of the older kind first: they are short, and what phones are given.
func lanHosts(addr net.Addr) (hosts []string) {
	if a, ok := addr.(*net.TCPAddr); ok && !a.IP.IsUnspecified() {
		return []string{a.IP.String()}
	}
	all, _ := net.InterfaceAddrs()
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsPrivate() {
			hosts = append(hosts, n.IP.String())
		}
	}
	return hosts
}
