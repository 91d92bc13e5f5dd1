package localpg

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is the user PostgreSQL runs as. A nil credential means the user we are.
type account struct {
	name       string
	credential *syscall.Credential
}

// databaseUser says who runs PostgreSQL, which refuses to run as root. Root hands it to the user who already
// owns the database folder, else to postgres, else to nobody. The user must have a name on this machine:
// initdb asks for it.
func databaseUser(box string) (account, error) {
	if os.Geteuid() != 0 {
		return account{}, nil
	}
	if info, err := os.Stat(box); err == nil {
		if uid := info.Sys().(*syscall.Stat_t).Uid; uid != 0 {
			owner, err := user.LookupId(strconv.FormatUint(uint64(uid), 10))
			if err != nil {
				return account{}, fmt.Errorf("%s belongs to user %d, who is not known on this machine", box, uid)
			}
			return accountOf(owner)
		}
	}
	for _, name := range []string{"postgres", "nobody"} {
		if found, err := user.Lookup(name); err == nil {
			return accountOf(found)
		}
	}
	return account{}, errors.New("PostgreSQL does not run as root, and this machine has neither a user " +
		"postgres nor a user nobody: make one, or start Coatbook as an ordinary user")
}

func accountOf(u *user.User) (account, error) {
	// Some systems write the id of nobody as -2, so the sign is kept and the bits are taken.
	uid, err := strconv.ParseInt(u.Uid, 10, 64)
	if err != nil {
		return account{}, fmt.Errorf("user %s: %w", u.Username, err)
	}
	gid, err := strconv.ParseInt(u.Gid, 10, 64)
	if err != nil {
		return account{}, fmt.Errorf("user %s: %w", u.Username, err)
	}
	return account{u.Username, &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}, nil
}

// own gives a folder to the account and closes it to everybody else.
func (a account) own(dir string) error {
	if a.credential != nil {
		if err := os.Chown(dir, int(a.credential.Uid), int(a.credential.Gid)); err != nil {
			return err
		}
	}
	return os.Chmod(dir, 0o700)
}

// canReach reports the first folder on the way to dir that the account may not enter. Without this check the
// only sign is a bare "permission denied" for the program that was to be started.
func (a account) canReach(dir string) error {
	if a.credential == nil {
		return nil
	}
	var above []string
	for d := dir; ; d = filepath.Dir(d) {
		above = append(above, d)
		if d == filepath.Dir(d) {
			break
		}
	}
	for i := len(above) - 1; i >= 0; i-- {
		info, err := os.Stat(above[i])
		if err != nil {
			return err
		}
		if !a.mayEnter(info) {
			return fmt.Errorf("PostgreSQL runs as user %s, who may not enter %s, so it cannot use a data folder "+
				"in it: choose another one (--data), for example below /var/lib", a.name, above[i])
		}
	}
	return nil
}

func (a account) mayEnter(info os.FileInfo) bool {
	owner := info.Sys().(*syscall.Stat_t)
	mode := info.Mode().Perm()
	switch {
	case owner.Uid == a.credential.Uid:
		return mode&0o100 != 0
	case owner.Gid == a.credential.Gid:
		return mode&0o010 != 0
	default:
		return mode&0o001 != 0
	}
}
