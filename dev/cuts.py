import json,subprocess,sys,re,os
# compares cuts; prints S lines of true cuts, false ones and worst near misses
def run(files,truth,borders=()):
    r=subprocess.run(["./target/debug/examples/dev","/tmp/c.json"]+files,env=dict(os.environ,DEBUG_CUT="1"),capture_output=True,text=True).stderr
    S={}
    for l in r.splitlines():
        m=re.match(r"S\((\d+)\) ([\d.]+) most ([\d.]+) ratio ([\d.]+)",l)
        if m: S[int(m[1])]=l
    cuts=json.load(open("/tmp/c.json"))["series"]["cuts"]
    print(files[0][-40:], [l for l in r.splitlines() if "cpu" in l][0].split("; cuts")[0])
    fp=[c for c in cuts if not any(abs(c-t)<=2 for t in truth)]
    fn=[t for t in truth if not any(abs(c-t)<=2 for c in cuts)]
    off=[(c,t) for t in truth for c in cuts if 0<abs(c-t)<=2]
    tr=[float(re.search(r"ratio ([\d.]+)",S[t])[1]) for t in truth if t in S]
    sv=[float(re.search(r"\) ([\d.]+)",S[t])[1]) for t in truth if t in S]
    print("  true",len(truth),"fp",fp,"fn",fn,"off",off,"lowest true ratios",sorted(tr)[:4],"lowest true S",sorted(sv)[:4])
    for f in fp+fn: print("   ",f,[S.get(k) for k in range(f-2,f+3) if k in S])
    oth=sorted([(float(re.search(r"ratio ([\d.]+)",l)[1]),l) for k,l in S.items() if k not in truth and k not in cuts],reverse=True)[:4]
    for r_,l in oth: print("    near miss",l)
O="/work/wt/films/outside/"
if "real" in sys.argv:
    run([O+"bikes.mp4"],[30,76,137,187,242]); D=O+"usr/share/doc/opencv-doc/examples/data/"
    run([D+"Megamind.avi"],[98,154,200]); run([D+"vtest.avi"],[])
T="/work/wt/films/tune/"
for g in sys.argv[1:]:
    if g=="real": continue
    d=json.load(open(T+g+"/truth.json"))
    for c in d["cameras"]:
        run([T+g+"/"+f["path"] for f in c["files"]],c["cuts"])
