package localpg

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// socketLine is the line of postmaster.pid that names the folder of the socket.
const socketLine = 5

// RunningURL is the address of the database of a data folder that another process serves, for a program that works beside it.
// It fails when no server runs there.
func RunningURL(dir, user string) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	file, err := os.Open(filepath.Join(dir, "box", "pg", "postmaster.pid"))
	if err != nil {
		return "", fmt.Errorf("the data folder %s is in use, and its PostgreSQL cannot be found: %w", dir, err)
	}
	defer file.Close()
	lines := bufio.NewScanner(file)
	for n := 1; lines.Scan(); n++ {
		if n == socketLine && strings.TrimSpace(lines.Text()) != "" {
			s := Server{sockets: strings.TrimSpace(lines.Text())}
			return s.URL(user), nil
		}
	}
	return "", fmt.Errorf("the PostgreSQL of the data folder %s is not up yet; try again in a moment", dir)
}
