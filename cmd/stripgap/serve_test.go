package main

import (
	"bufio"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"
)

// TestServe starts the server as a person does, opens the page by the address that
// is printed, and ends it by an interrupt.
func TestServe(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a server")
	}
	engine := demoBuild(t)
	cmd := program("serve", engine, "--lan", "--listen", "127.0.0.1:0")
	var log strings.Builder
	cmd.Stderr = &log
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	said := bufio.NewReader(out)
	address, err := said.ReadString('\n')
	if err != nil {
		t.Fatalf("%v\n%s", err, log.String())
	}
	address = strings.TrimSpace(address)
	page, key, ok := strings.Cut(address, "?key=")
	if !ok || len(key) < 26 || !strings.HasPrefix(page, "http://127.0.0.1:") {
		t.Fatalf("the address printed is %q", address)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for url, want := range map[string]int{page: http.StatusForbidden, address + "x": http.StatusForbidden, address: http.StatusSeeOther} {
		response, err := client.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		response.Body.Close()
		if response.StatusCode != want {
			t.Errorf("%s: %d, want %d", strings.ReplaceAll(url, key, "KEY"), response.StatusCode, want)
		}
	}
	// Only one process writes to a build.
	if out, err := program("build", "read", engine).CombinedOutput(); err == nil || !strings.Contains(string(out), "in use by stripgap serve") {
		t.Errorf("%v %s", err, out)
	}
	cmd.Process.Signal(os.Interrupt)
	rest, _ := io.ReadAll(said)
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended by an interrupt: %v", err)
	}
	// A code is drawn in half blocks.
	if !strings.Contains(string(rest), "\u2588") || !strings.Contains(string(rest), "Point the phone's camera at the code") {
		t.Errorf("%s", rest)
	}
	if strings.Contains(log.String(), key) {
		t.Errorf("the log holds the key:\n%s", log.String())
	}
}
