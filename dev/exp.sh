# waits for raw, runs configs
T=/work/wt/films/tune
while pgrep -f dev/raw.sh >/dev/null; do sleep 2; done
run(){ n=$1; shift; env "$@" nice $T/small0 e_$n g1 g2 g3 g4 g5 g6; echo "$n: $*"; for m in side ez; do SET=e_$n WZ=.2 WR=.05 /work/wt/films/tune/judge0 snap-$m g1 g2 g3 g4 g5 g6 | grep -E "^(snaps|ends)"; done; }
run base X=1
run sf SF=4
run ka KA=0.12
run sfka SF=4 KA=0.12
run i0 SF=3 I0=2 S0=2 KA=0.12
run bl BL=1 SF=4 KA=.12
run ka2 SF=4 KA=.2
