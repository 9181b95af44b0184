package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
)

func newBuildWithdrawCommand() *cobra.Command {
	var reason string
	cmd := &cobra.Command{
		Use:   "withdraw FOLDER NUMBER --reason TEXT",
		Short: "Take a reading back, with the reason",
		Long: `withdraw notes that a reading does not count, and why. Nothing is deleted: the
reading, its photo and its picture stay in the folder, and in the record. Its photo
may be read again if it is named to build read.`,
		Example: `  stripgap build withdraw engine 4 --reason "cap was not torqued"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return fmt.Errorf("name the build's folder and the reading's number")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			number, err := strconv.Atoi(args[1])
			if err != nil {
				return usagef("%q is not the number of a reading", args[1])
			}
			if strings.TrimSpace(reason) == "" {
				return usagef("--reason is empty; say why the reading does not count")
			}
			f, err := openBuild(cmd, args[0])
			if err != nil {
				return err
			}
			defer f.Close()
			if err := f.Withdraw(number, reason); err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "reading %d is taken back\n", number)
			return err
		},
	}
	cmd.Flags().StringVar(&reason, "reason", "", "why it does not count")
	cobra.CheckErr(cmd.MarkFlagRequired("reason")) // fails only for a flag that does not exist
	return cmd
}
