package cache

import (
	"os"
	"syscall"
)

func stampOf(info os.FileInfo) stamp {
	s := stamp{Size: info.Size(), Mtime: info.ModTime().UnixNano()}
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		s.Changed, s.Inode = st.Ctim.Nano(), st.Ino
	}
	return s
}
