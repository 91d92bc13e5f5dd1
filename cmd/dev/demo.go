package main

import (
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// demo builds Coatbook and becomes it. What is not said here is left to Coatbook's own settings.
func demo(args []string) error {
	var listen, data string
	err := flags("demo", args, func(set *flag.FlagSet) {
		set.StringVar(&listen, "listen", "", "the address to serve on")
		set.StringVar(&data, "data", "", "the data folder (default: one for the demo in the user's data folder)")
	})
	if err != nil {
		return err
	}
	if os.Getenv("DATABASE_URL") == "" {
		if err := ensure(postgreSQL); err != nil {
			return err
		}
	}
	program, err := build()
	if err != nil {
		return err
	}
	words := []string{"coatbook", "demo"}
	if listen != "" {
		words = append(words, "--listen", listen)
	}
	if data != "" {
		words = append(words, "--data", data)
	}
	// Becoming the program instead of running it leaves nothing between it and Ctrl-C.
	return syscall.Exec(program, words, os.Environ())
}

// build compiles Coatbook where the next build finds it again, outside the repository. Each clone has its own.
func build() (string, error) {
	root, err := os.Getwd()
	if err != nil {
		return "", err
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir() // no home: a service account, or CI
	}
	clone := sha256.Sum256([]byte(root))
	program := filepath.Join(cache, "coatbook", hex.EncodeToString(clone[:4]), "coatbook")
	if err := quiet("go", "build", "-o", program, "./cmd/coatbook"); err != nil {
		return "", fmt.Errorf("build Coatbook: %w", err)
	}
	return program, nil
}
