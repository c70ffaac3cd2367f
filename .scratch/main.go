package main
import ("fmt";"thumbline/theory";"strings")
func main(){ for s:=theory.PCSet(1);s<4096;s+=2 { t:=theory.SuffixOf(s); if strings.Contains(t,"13")&&strings.Contains(t,"b13")&&strings.HasPrefix(t,"13") { fmt.Print(t," ") } } }
