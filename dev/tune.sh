r(){ for m in side ez; do env "$@" ./target/debug/examples/judge snap-$m g1 g2 g3 g4 g5 g6 | grep "^snaps" | cut -c1-90; done | awk -v n="$*" '{s=s" | "$5" "$7" "$9" "$11" "$13} END{print n, s}'; }
r X=1
for v in 0.05 0.2; do r WZ=$v; done
for v in 0.05 0.1 0.25; do r WR=$v; done
for v in 0.15 0.2 0.4 ; do r WP=$v; done
for v in 2 4 6 8; do r EN=$v; done
for v in 0.3 0.7; do r EO=$v; done
for v in 5.5 6.2 7; do r LB=$v; done
for v in 0.2 .3 .5; do r LBS=$v; done
for v in -1 -5; do r NS=$v; done
for v in .1 .2; do r WL=$v; done
r LM=-.5; r LM=-.8; r PF=-.15; r PF=-.8
