FROM python:3.11-slim-bookworm
RUN useradd --system --uid 10001 --home-dir /nonexistent fleetcare
WORKDIR /srv/fleetcare
COPY requirements.txt .
RUN pip install --no-cache-dir --require-hashes -r requirements.txt
COPY . .
RUN mkdir /data && chown fleetcare /data \
 && FLEETCARE_DATA=/tmp/build STATIC_ROOT=/srv/fleetcare/static python manage.py collectstatic --noinput
ENV FLEETCARE_DATA=/data STATIC_ROOT=/srv/fleetcare/static PYTHONUNBUFFERED=1 OPENBLAS_NUM_THREADS=1
USER fleetcare
EXPOSE 8000
CMD ["gunicorn", "fleetcare.config.wsgi", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "4", \
     "--worker-class", "gthread", "--graceful-timeout", "30", "--no-control-socket", "--worker-tmp-dir", "/dev/shm"]
