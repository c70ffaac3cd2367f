//go:build amd64 || arm64 || loong64 || riscv64 || s390x

package alsaseq

const supported = true
