//go:build !linux

package cache

import "os"

func stampOf(info os.FileInfo) stamp {
	return stamp{Size: info.Size(), Mtime: info.ModTime().UnixNano()}
}
