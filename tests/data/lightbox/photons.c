// Forward photon tracer for closed boxes: square emitters of intensity I0 cos^m (m = 1 unless given as an argument), diffuse surfaces, barriers as convex quad prisms
// from a lower to an upper height. Made to check the light model on boxes no other reference covers; it shares nothing
// with the model. gcc -O3 photons.c -lm; ./a.out [m]; numbers on stdin: photons width height depth rho_floor rho_rim rho_barrier
// rho_diffuser led_z led_size seed leds channels, per LED x y cd..., quads, per quad top bottom and 4 corners, then
// x0 y0 dx dy nx ny. Writes lux as doubles [channel][ny][nx].
#include <stdio.h>
#include <stdlib.h>
#include <math.h>
#include <stdint.h>
static uint64_t s[4];
static inline uint64_t rotl(uint64_t x,int k){return (x<<k)|(x>>(64-k));}
static inline uint64_t nx64(){uint64_t r=rotl(s[1]*5,7)*9,t=s[1]<<17;s[2]^=s[0];s[3]^=s[1];s[1]^=s[2];s[0]^=s[3];s[2]^=t;s[3]=rotl(s[3],45);return r;}
static inline double U(){return (nx64()>>11)*0x1.0p-53;}
#define MQ 4096
static int nq; static double Q[MQ][4][2],top[MQ],bot[MQ],bb[MQ][4];
int main(int argc,char**argv){
 double em=argc>1?atof(argv[1]):1;
 double W,H,D,rf,rw,rb,rd,zl,sz; int nl,nch,gx,gy; double gx0,gy0,dx,dy; double N;
 if(scanf("%lf %lf %lf %lf %lf %lf %lf %lf %lf %lf",&N,&W,&H,&D,&rf,&rw,&rb,&rd,&zl,&sz)!=10)return 1;
 int seed; scanf("%d %d %d",&seed,&nl,&nch); double*lx=malloc(nl*8),*ly=malloc(nl*8),*cd=malloc(nl*nch*8);
 for(int i=0;i<nl;i++){scanf("%lf %lf",lx+i,ly+i);for(int c=0;c<nch;c++)scanf("%lf",cd+i*nch+c);}
 scanf("%d",&nq);for(int q=0;q<nq;q++){scanf("%lf %lf",&top[q],&bot[q]);for(int k=0;k<4;k++)scanf("%lf %lf",&Q[q][k][0],&Q[q][k][1]);
  bb[q][0]=bb[q][2]=1e9;bb[q][1]=bb[q][3]=-1e9;double A=0;for(int k=0;k<4;k++){double*p=Q[q][k],*r=Q[q][(k+1)%4];A+=p[0]*r[1]-p[1]*r[0];
   if(p[0]<bb[q][0])bb[q][0]=p[0];if(p[0]>bb[q][1])bb[q][1]=p[0];if(p[1]<bb[q][2])bb[q][2]=p[1];if(p[1]>bb[q][3])bb[q][3]=p[1];}
  if(A<0){for(int k=0;k<2;k++)for(int d=0;d<2;d++){double t=Q[q][k][d];Q[q][k][d]=Q[q][3-k][d];Q[q][3-k][d]=t;}}}
 scanf("%lf %lf %lf %lf %d %d",&gx0,&gy0,&dx,&dy,&gx,&gy);
 s[0]=seed*7919+1;s[1]=0x9E3779B97F4A7C15;s[2]=seed;s[3]=12345;for(int i=0;i<50;i++)nx64();
 double*E=calloc((size_t)nch*gx*gy,8);
 double tot=0;double*cum=malloc(nl*8);for(int i=0;i<nl;i++){double m=0;for(int c=0;c<nch;c++)if(cd[i*nch+c]>m)m=cd[i*nch+c];tot+=m;cum[i]=tot;}
 for(long n=0;n<(long)N;n++){
  double u=(n+U())/N*tot;int i=0;{int a=0,b=nl-1;while(a<b){int m=(a+b)/2;if(cum[m]<u)a=m+1;else b=m;}i=a;}
  double m=0;for(int c=0;c<nch;c++)if(cd[i*nch+c]>m)m=cd[i*nch+c];
  double x=lx[i]+(U()-.5)*sz,y=ly[i]+(U()-.5)*sz,z=zl;
  double ph=2*M_PI*U(),vz=pow(1-U(),1/(em+1)),r=sqrt(1-vz*vz);double vx=r*cos(ph),vy=r*sin(ph);
  double w=2*M_PI/(em+1)*tot/N/m; // lm per unit cd-channel
  for(int b=0;b<400;b++){
   double t=1e18;int hit=0;double nxx=0,nyy=0,rho=0;
   if(vx>0){double k=(W-x)/vx;if(k<t){t=k;hit=1;nxx=-1;nyy=0;}}else if(vx<0){double k=-x/vx;if(k<t){t=k;hit=1;nxx=1;nyy=0;}}
   if(vy>0){double k=(H-y)/vy;if(k<t){t=k;hit=1;nxx=0;nyy=-1;}}else if(vy<0){double k=-y/vy;if(k<t){t=k;hit=1;nxx=0;nyy=1;}}
   if(vz>0){double k=(D-z)/vz;if(k<t){t=k;hit=2;}}else if(vz<0){double k=-z/vz;if(k<t){t=k;hit=3;}}
   for(int q=0;q<nq;q++){
    double ax=x,bx=x+vx*t,ay=y,by=y+vy*t;if(ax>bx){double v=ax;ax=bx;bx=v;}if(ay>by){double v=ay;ay=by;by=v;}
    if(bx<bb[q][0]||ax>bb[q][1]||by<bb[q][2]||ay>bb[q][3])continue;
    // slab clip against convex prism
    double t0=-1e18,t1=1e18,mx=0,my=0;int mz=0,ok=1;
    for(int k=0;k<4&&ok;k++){double*p=Q[q][k],*g=Q[q][(k+1)%4];double ex=g[0]-p[0],ey=g[1]-p[1],L=sqrt(ex*ex+ey*ey);double ox=ey/L,oy=-ex/L;
     double dn=vx*ox+vy*oy,dist=(p[0]-x)*ox+(p[1]-y)*oy; if(fabs(dn)<1e-14){if(dist<0)ok=0;}else{double k2=dist/dn;if(dn<0){if(k2>t0){t0=k2;mx=ox;my=oy;mz=0;}}else if(k2<t1)t1=k2;}}
    if(!ok)continue;
    {double dn=vz,dist=top[q]-z;if(fabs(dn)<1e-14){if(dist<0)continue;}else{double k2=dist/dn;if(dn<0){if(k2>t0){t0=k2;mz=1;}}else if(k2<t1)t1=k2;}}
    if(bot[q]>0){double dn=-vz,dist=z-bot[q];if(fabs(dn)<1e-14){if(dist<0)continue;}else{double k2=dist/dn;if(dn<0){if(k2>t0){t0=k2;mz=2;}}else if(k2<t1)t1=k2;}}
    if(t0>1e-7&&t0<t1&&t0<t){t=t0;if(mz)hit=4+mz;else{hit=4;nxx=mx;nyy=my;}}
   }
   x+=vx*t;y+=vy*t;z+=vz*t;
   double Nx,Ny,Nz;
   if(hit==2){z=D;int ix=floor((x-gx0)/dx+.5),iy=floor((y-gy0)/dy+.5);if(ix>=0&&iy>=0&&ix<gx&&iy<gy)for(int c=0;c<nch;c++)E[((long)c*gy+iy)*gx+ix]+=w*cd[i*nch+c];rho=rd;Nx=Ny=0;Nz=-1;}
   else if(hit==3){z=0;rho=rf;Nx=Ny=0;Nz=1;}
   else if(hit==1){rho=rw;Nx=nxx;Ny=nyy;Nz=0;x+=0;}
   else if(hit==5){rho=rb;Nx=Ny=0;Nz=1;}
   else if(hit==6){rho=rb;Nx=Ny=0;Nz=-1;}
   else {rho=rb;Nx=nxx;Ny=nyy;Nz=0;}
   if(U()>=rho)break;
   // cosine about N
   double p2=2*M_PI*U(),q2=U(),rr=sqrt(q2),c=sqrt(1-q2),a=rr*cos(p2),bbv=rr*sin(p2);
   if(Nz!=0){vx=a;vy=bbv;vz=c*Nz;}else{double tx=-Ny,ty=Nx;vx=c*Nx+a*tx;vy=c*Ny+a*ty;vz=bbv;}
   x+=Nx*1e-6;y+=Ny*1e-6;z+=Nz*1e-6;
  }}
 double A=dx*dy*1e-6;for(long k=0;k<(long)nch*gx*gy;k++)E[k]/=A;
 fwrite(E,8,(size_t)nch*gx*gy,stdout);return 0;}
