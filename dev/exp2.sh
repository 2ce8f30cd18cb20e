T=/work/wt/films/tune
while pgrep -f dev/exp.sh >/dev/null; do sleep 2; done
run(){ n=$1; shift; env "$@" nice $T/small0 e_$n g1 g2 g3 g4 g5 g6; echo "$n: $*"; for m in side ez; do SET=e_$n WZ=.2 WR=.05 /work/wt/films/tune/judge0 snap-$m g1 g2 g3 g4 g5 g6 | grep -E "^(snaps|ends)"; done; }
run sfka06 SF=4 KA=0.06
run sf8ka06 SF=8 KA=0.06
