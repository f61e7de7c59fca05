package main

import "github.com/spf13/cobra"

func demoCommand(g *globals) *cobra.Command { return &cobra.Command{Use: "demo"} }
