package app

import "syscall"

// KeepPrivate keeps what this program writes from other accounts of the machine.
func KeepPrivate() { syscall.Umask(0o077) }
