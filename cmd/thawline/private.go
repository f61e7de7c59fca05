package main

import "syscall"

// private keeps what this program writes from other accounts of the machine.
func private() { syscall.Umask(0o077) }
